package water

import "math"

// Range of region 1, R7-97 section 4 (figure 1).
const (
	leastK   = 273.15
	mostK    = 623.15
	mostMPa  = 100
	zeroC    = 273.15
	gasKJ    = 0.461526 // specific gas constant, kJ/(kg K), R7-97 equation 1
	region1P = 16.53    // MPa, R7-97 section 5.1
	region1T = 1386     // K
)

// Liquid is liquid water at one temperature and pressure.
type Liquid struct {
	Density  float64 // kg/m³
	Heat     float64 // isobaric heat capacity, kJ/(kg K)
	Enthalpy float64 // kJ/kg, zero for the saturated liquid at the triple point but for its pv
}

// LiquidAt gives liquid water at a temperature in °C, 0 to 350, and an absolute
// pressure in bar, up to 1000; false where water is no liquid, or outside that
// range. R7-97 equation 7 with the relations of its table 3.
func LiquidAt(celsius, bar float64) (Liquid, bool) {
	kelvin, mpa := celsius+zeroC, bar/10
	if !(kelvin >= leastK && kelvin <= mostK && mpa > 0 && mpa <= mostMPa) {
		return Liquid{}, false
	}
	if boiling, known := saturationMPa(kelvin); !known || mpa < boiling {
		return Liquid{}, false
	}
	pi, tau := mpa/region1P, region1T/kelvin
	var gp, gt, gtt float64 // derivatives of the Gibbs free energy by pi, tau, tau twice
	for _, t := range region1Terms {
		a, b := 7.1-pi, tau-1.222
		pa, pb := math.Pow(a, float64(t.i)), math.Pow(b, float64(t.j))
		if t.i != 0 {
			gp -= t.n * float64(t.i) * math.Pow(a, float64(t.i-1)) * pb
		}
		gt += t.n * pa * float64(t.j) * math.Pow(b, float64(t.j-1))
		gtt += t.n * pa * float64(t.j*(t.j-1)) * math.Pow(b, float64(t.j-2))
	}
	volume := pi * gp * gasKJ * kelvin / (mpa * 1000) // m³/kg
	return Liquid{Density: 1 / volume, Heat: -tau * tau * gtt * gasKJ, Enthalpy: tau * gt * gasKJ * kelvin}, true
}
