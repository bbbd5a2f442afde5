package water

import "math"

// n are the coefficients of the saturation equation, R7-97 table 34; n[0] is
// not used, so that the numbers are the table's.
var n = [...]float64{
	0,
	0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
	0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
}

// Range of the saturation equations, R7-97 section 8: from the pressure at
// 273.15 K to the critical point.
const (
	leastMPa    = 611.213e-6
	criticalMPa = 22.064
	criticalK   = 647.096
)

// BoilingC gives the temperature in °C at which water boils at an absolute
// pressure in bar, from 0.00611213 to 220.64; false outside. R7-97 equation 31.
func BoilingC(bar float64) (celsius float64, ok bool) {
	mpa := bar / 10
	if !(mpa >= leastMPa && mpa <= criticalMPa) {
		return 0, false
	}
	beta := math.Sqrt(math.Sqrt(mpa))
	e := beta*beta + n[3]*beta + n[6]
	f := n[1]*beta*beta + n[4]*beta + n[7]
	g := n[2]*beta*beta + n[5]*beta + n[8]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	kelvin := (n[10] + d - math.Sqrt((n[10]+d)*(n[10]+d)-4*(n[9]+n[10]*d))) / 2
	return kelvin - zeroC, true
}

// SaturationBar gives the absolute pressure in bar below which water of a
// temperature in °C, 0 to 373.946, boils; false outside. R7-97 equation 30.
func SaturationBar(celsius float64) (bar float64, ok bool) {
	mpa, ok := saturationMPa(celsius + zeroC)
	return mpa * 10, ok
}

func saturationMPa(kelvin float64) (mpa float64, ok bool) {
	if !(kelvin >= leastK && kelvin <= criticalK) {
		return 0, false
	}
	theta := kelvin + n[9]/(kelvin-n[10])
	a := theta*theta + n[1]*theta + n[2]
	b := n[3]*theta*theta + n[4]*theta + n[5]
	c := n[6]*theta*theta + n[7]*theta + n[8]
	root := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	return root * root * root * root, true
}
