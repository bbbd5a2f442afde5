package simulated

import (
	"math"
	"time"
)

// Water near 20 °C: 4.18 J/gK and 1 g/mL (IAPWS-IF97, facts.md A6: 4.18479
// kJ/kgK, 998.2 kg/m³).
const waterJPerMLK = 4.18

// filmTime is how fast the film follows the weep (invented).
const filmTime = 4.0 // s

// surfaceSpeed is v = pi d n / 60, m/s.
func (f Friction) surfaceSpeed() float64 {
	return math.Pi * f.DiameterMM / 1000 * f.RPM / 60
}

// power is P = mu p pi d L v, W, of ordinary Coulomb friction.
func (f Friction) power(mu, pressureMPa float64) float64 {
	area := math.Pi * f.DiameterMM / 1000 * f.LengthMM / 1000 // m²
	return mu * pressureMPa * 1e6 * area * f.surfaceSpeed()
}

// mu is the friction coefficient with part of the film left (1 = all).
func (f Friction) mu(film float64) float64 {
	return f.Mu + (f.MuDry-f.Mu)*(1-film)
}

// weepWK is what drops carry away, W per °C above the liquid.
func (h Heat) weepWK(dpm float64) float64 {
	return dpm / 60 * h.DropML * waterJPerMLK
}

// liquidC and ambientC follow the time of the day, UTC; now in Unix ns.
func (c Climate) liquidC(now int64) float64  { return c.LiquidC + c.LiquidSwingC*dayWave(now, 17) }
func (c Climate) ambientC(now int64) float64 { return c.AmbientC + c.AmbientSwingC*dayWave(now, 15) }

func dayWave(now int64, warmestHour float64) float64 {
	hour := float64(now%int64(24*time.Hour)) / float64(time.Hour)
	return math.Cos((hour - warmestHour) / 24 * 2 * math.Pi)
}

// heatTo moves film and temperature on from g.heatAt to now. The equation
// C dT/dt = P - G (T - Tsink) is solved exactly over steps of one second, or
// over the whole stretch once the film has settled.
func (g *gland) heatTo(now int64) {
	target := 1.0
	if g.running {
		target = min(g.dpm/g.cfg.Friction.FilmDPM, 1)
	}
	for left := float64(now-g.heatAt) / 1e9; left > 0; {
		step := left
		if math.Abs(g.film-target) > 0.001 {
			step = min(left, 1)
		}
		left -= step
		before := g.film
		g.film = target + (g.film-target)*math.Exp(-step/filmTime)
		g.warm(step, (before+g.film)/2, now)
	}
	g.heatAt = now
}

// warm lets seconds pass with a constant film.
func (g *gland) warm(seconds, film float64, now int64) {
	equilibrium, loss := g.equilibrium(film, now)
	g.tempC = equilibrium + (g.tempC-equilibrium)*math.Exp(-seconds*loss/g.cfg.Heat.CapacityJK)
}

// equilibrium is the temperature that the gland tends to, °C, and its heat
// loss, W/K.
func (g *gland) equilibrium(film float64, now int64) (tempC, lossWK float64) {
	h, f := g.cfg.Heat, g.cfg.Friction
	toLiquid := h.LiquidWK + h.weepWK(g.dpm)
	lossWK = toLiquid + h.AmbientWK
	sink := (toLiquid*g.cfg.Climate.liquidC(now) + h.AmbientWK*g.cfg.Climate.ambientC(now)) / lossWK
	power := 0.0
	if g.running {
		power = f.power(f.mu(film), f.PressureMPa*g.pressure)
	}
	return sink + power/lossWK, lossWK
}

// Sensors: a DS18B20 resolves 1/16 °C between -55 and 125 °C (facts.md A9 and
// its data sheet, from memory); its noise is invented.
const (
	tempStepsPerC = 16
	tempNoiseC    = 0.04
	leastTempC    = -55
	mostTempC     = 125
)

func quantised(tempC float64) float64 {
	return math.Round(tempC*tempStepsPerC) / tempStepsPerC
}
