package rtd

import "math"

// Coefficients of Callendar and Van Dusen for industrial platinum, IEC 60751
// (the clause from memory: 4.2); c counts below 0 °C only.
const (
	a = 3.9083e-3
	b = -5.775e-7
	c = -4.183e-12
)

// The range for which IEC 60751 gives them, °C.
const (
	LowestC  = -200
	HighestC = 850
)

// OhmAt gives the resistance at t °C of a sensor that has r0 Ω at 0 °C.
func OhmAt(t, r0 float64) float64 {
	ratio := 1 + a*t + b*t*t
	if t < 0 {
		ratio += c * (t - 100) * t * t * t
	}
	return r0 * ratio
}

// CelsiusAt is the inverse of OhmAt, for any resistance from 0 Ω up to what
// OhmAt can give. Outside LowestC to HighestC it extrapolates; it is NaN where
// no temperature has that resistance.
func CelsiusAt(ohm, r0 float64) float64 {
	ratio := ohm / r0
	t := (-a + math.Sqrt(a*a-4*b*(1-ratio))) / (2 * b) // exact from 0 °C up
	if !(t < 0) {
		return t
	}
	// Below, it is a start within 3 K. Newton's steps on a curve that bends
	// so little double the good digits each time.
	for range 4 {
		slope := a + 2*b*t + c*(4*t-300)*t*t
		t -= (OhmAt(t, 1) - ratio) / slope
	}
	return t
}
