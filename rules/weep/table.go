package weep

import "math"

// A table holds a function of one interval as a piecewise linear curve over
// y = interval x edge rate (1 = the mean interval at the edge of the band).
// Its nodes are the powers of two from 1/32 to 32 with three more between
// each pair, so that the bits of the floating-point number are the position:
// the pure likelihood ratio, linear in y, is kept exactly.
const (
	lowestPower   = -5
	highestPower  = 5
	bitsPerPower  = 2
	tableNodes    = (highestPower-lowestPower)<<bitsPerPower + 1
	mantissaShift = 52 - bitsPerPower
	exponentBias  = 1023
	tableBase     = (exponentBias + lowestPower) << bitsPerPower
	fractionScale = 1.0 / (1 << mantissaShift)
)

type table [tableNodes]float32

// place is a position between two nodes of a table.
type place struct {
	node     int
	fraction float64
}

// locate finds y; below the first node it is the first node, beyond the last
// the last segment is prolonged.
func locate(y float64) place {
	bits := math.Float64bits(y)
	node := int(bits>>mantissaShift) - tableBase
	if node < 0 || y <= 0 {
		return place{}
	}
	if node >= tableNodes-1 {
		last := tableNodes - 2
		return place{last, (y - nodeAt(last)) / (nodeAt(last+1) - nodeAt(last))}
	}
	return place{node, float64(bits&(1<<mantissaShift-1)) * fractionScale}
}

// nodeAt is the y of a node.
func nodeAt(i int) float64 {
	return math.Float64frombits(uint64(i+tableBase) << mantissaShift)
}

func (t *table) at(p place) float64 {
	a, b := float64(t[p.node]), float64(t[p.node+1])
	return a + (b-a)*p.fraction
}

// crossing is the least y at which a rising curve reaches v; ok is false when
// the curve ends below it without rising.
func (t *table) crossing(v float64) (y float64, ok bool) {
	for i := 1; i < tableNodes; i++ {
		if a, b := float64(t[i-1]), float64(t[i]); b >= v {
			if a >= v {
				return nodeAt(i - 1), true
			}
			return nodeAt(i-1) + (v-a)/(b-a)*(nodeAt(i)-nodeAt(i-1)), true
		}
	}
	a, b := float64(t[tableNodes-2]), float64(t[tableNodes-1])
	if b <= a {
		return 0, false
	}
	step := nodeAt(tableNodes-1) - nodeAt(tableNodes-2)
	return nodeAt(tableNodes-1) + (v-b)/(b-a)*step, true
}

func (t *table) fill(f func(y float64) float64) {
	for i := range t {
		t[i] = float32(f(nodeAt(i)))
	}
}
