package heat

// The heat balance of a packed gland: friction makes heat, nearly all of it
// leaves through the metal, and the drops carry about a hundredth. So while the
// shaft turns the rise follows the friction, not the weep; the weep's work is the
// film, and a film that is lost lets friction, and with it the rise, grow. That
// says which combination of weep and rise is plausible (Judge).

// FrictionWatts is the friction power of packing on a shaft: coefficient x radial
// pressure (MPa) x rubbing area (diameter x pi x length, mm) x surface speed.
// Ordinary Coulomb friction; coefficients of about 0.05 to 0.2 are common
// practice, no source.
func FrictionWatts(coefficient, pressureMPa, diameterMM, lengthMM, rpm float64) float64 {
	const pi = 3.141592653589793
	areaMM2 := pi * diameterMM * lengthMM
	speed := pi * diameterMM / 1000 * rpm / 60 // m/s
	return coefficient * pressureMPa * areaMM2 * speed
}

// DripWatts is the heat that drops carry off when they are warmed by riseC on
// their way: 4.18 J/(mL K) for water at 20 to 60 °C (IAPWS-IF97: density x heat
// capacity, 4.177 at 20 °C and 4.113 at 60 °C).
func DripWatts(dpm, dropML, riseC float64) float64 {
	const joulesPerMLK = 4.18
	return dpm / 60 * dropML * joulesPerMLK * riseC
}

// Balance is what weep and rise together say of a turning gland.
type Balance uint8

// The verdicts.
const (
	Unknown Balance = iota // nothing learned yet, or the rise is not known
	Fits                   // the friction that it always had
	Heated                 // more friction than it had: the film suffers
	Cooled                 // clearly less than it had: no friction, or flushed by more than drops
	Cold                   // hardly any: the shaft does not turn
)

const (
	// heatedC over the normal rise, or heatedShare of the limit if that is more,
	// counts as heat: beyond the noise and the day's course of a gland.
	heatedC     = 2.0
	heatedShare = 0.1
	// Shares of its normal rise at which a gland is cooled and cold. No source.
	cooledShare = 0.85
	coldShare   = 0.5
	// leastNormalC is the least normal rise of which shares mean anything.
	leastNormalC = 2.0
)

// Judge weighs the rise against what the gland showed while all was well; where
// nothing is learned yet, usualC stands for it if known is true.
func (r *Rise) Judge(limitC, usualC float64, known bool) Balance {
	rise, ok := r.Judged()
	normal, learned := r.Normal()
	if !learned {
		normal = usualC
	}
	switch {
	case !ok || !learned && !known:
		return Unknown
	case rise > normal+max(heatedC, heatedShare*limitC):
		return Heated
	case !learned || normal <= leastNormalC:
		return Fits
	case rise < coldShare*normal:
		return Cold
	case rise < cooledShare*normal:
		return Cooled
	}
	return Fits
}
