package sheet

import (
	"math"
	"strconv"
)

// span is a quantity known to lie between two values.
type span struct{ low, high float64 }

// times gives the span of the product of two quantities that are not negative
// and vary independently.
func (s span) times(o span) span { return span{s.low * o.low, s.high * o.high} }

// by scales a span by a positive factor.
func (s span) by(f float64) span { return span{s.low * f, s.high * f} }

// over gives the span of the quotient of two positive quantities.
func (s span) over(o span) span { return span{s.low / o.high, s.high / o.low} }

func (s span) text(unit string) string {
	low, high := Number(s.low), Number(s.high)
	if low != high {
		low += " to " + high
	}
	if unit != "" {
		low += " " + unit
	}
	return low
}

// Number writes a figure with three significant digits, which is more than
// most of what goes into a sheet can carry, and whole numbers whole.
func Number(v float64) string {
	switch a := math.Abs(v); {
	case v == 0:
		return "0"
	case a >= 100:
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	default:
		places := max(0, 2-int(math.Floor(math.Log10(a))))
		return trimZeros(strconv.FormatFloat(v, 'f', min(places, 6), 64))
	}
}

func trimZeros(s string) string {
	dot := false
	for i := range len(s) {
		dot = dot || s[i] == '.'
	}
	for dot && s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if dot && s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}
