package thermocouple

import (
	"fmt"
	"math"
	"strings"
)

// Type is a letter-designated thermocouple; the numbers are the chip's (CR1,
// bits 3 to 0; also THERMOCOUPLE_TYPE_* of the Linux kernel).
type Type byte

// The types of base metal that are common on machines.
const (
	J Type = 2
	K Type = 3
	N Type = 4
	T Type = 7
)

// ParseType reads K, J, T or N.
func ParseType(s string) (Type, error) {
	for t := range functions {
		if strings.EqualFold(s, t.String()) {
			return t, nil
		}
	}
	return 0, fmt.Errorf("thermocouple type %q; want K, J, T or N", s)
}

// String gives the type's letter.
func (t Type) String() string {
	f, ok := functions[t]
	if !ok {
		return fmt.Sprintf("type(%d)", byte(t))
	}
	return f.letter
}

// Range is what the inverse functions cover, °C.
func (t Type) Range() (lowest, highest float64) {
	f := functions[t]
	return f.lowestC, f.highestC
}

// MilliVolt gives the voltage of a junction at c °C against one at 0 °C, by the
// reference function of ITS-90; NaN outside Range.
func (t Type) MilliVolt(c float64) float64 {
	f := functions[t]
	if !(c >= f.lowestC && c <= f.highestC) {
		return math.NaN()
	}
	mv := piece(f.forward, c)
	if t == K && c >= 0 {
		mv += 0.118597600000 * math.Exp(-0.118343200000e-3*(c-126.968600)*(c-126.968600))
	}
	return mv
}

// Celsius is the inverse of MilliVolt by NIST's approximate inverse functions,
// within 0.06 K of it; NaN outside Range.
func (t Type) Celsius(mv float64) float64 {
	f := functions[t]
	if len(f.forward) == 0 || !(mv >= f.lowestMV && mv <= f.highestMV) {
		return math.NaN()
	}
	return piece(f.inverse, mv)
}

// polynomial counts up to and including upTo, c0 first.
type polynomial struct {
	upTo float64
	c    []float64
}

func piece(all []polynomial, x float64) float64 {
	last := len(all) - 1
	for i, p := range all {
		if x <= p.upTo || i == last {
			y := 0.0
			for j := len(p.c) - 1; j >= 0; j-- {
				y = y*x + p.c[j]
			}
			return y
		}
	}
	return math.NaN()
}
