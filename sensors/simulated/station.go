// Package simulated is a station of packed glands that exists only in here,
// for demonstrations and for trying limits out. Its physics is plain: drops
// are a gamma renewal process, friction heats the gland more as the film is
// lost, the metal carries the heat away. Check values for it are published;
// its constants, where no source is named, are invented.
package simulated

import (
	"errors"
	"fmt"
	"math"
	"time"

	"weepd/rules/reading"
)

// Station is what is simulated. The same Station from the same start gives
// the same readings.
type Station struct {
	Seed   uint64
	Past   time.Duration // how much history comes before the start; 0 to 400 days
	Glands []Gland
}

// Gland is one gland with its sensors. A zero value means the default where
// one is given.
type Gland struct {
	ID    string
	Kinds []reading.Kind // what is fitted; empty means all
	Seed  uint64         // mixed with the station's and the id

	DPM           float64 // weep it is set to, shaft turning, drops per minute; 0 to 1000
	Shape         float64 // regularity: drop intervals have variance mean²/Shape; 0.2 to 1000, default 8
	SplashShare   float64 // of drops, that count twice 40 to 150 ms apart; 0 to 0.5
	MissShare     float64 // of drops, that are not counted; 0 to 0.5
	WearPerDay    float64 // growth of the weep per day, relative; 0 to 1
	StandingShare float64 // weep at rest over weep turning; 0 to 1, default 0.3

	Friction Friction // default DefaultFriction
	Heat     Heat     // default DefaultHeat
	Climate  Climate  // default DefaultClimate

	TempEvery time.Duration // between two temperatures; 100 ms to 1 min, default 10 s
	Events    []Event
}

// Friction is the packing on its shaft.
type Friction struct {
	Mu, MuDry   float64 // friction coefficients with a full film and with none
	FilmDPM     float64 // weep that keeps the film full, drops per minute
	PressureMPa float64 // packing on shaft, radially
	DiameterMM  float64 // shaft or sleeve
	LengthMM    float64 // packing, along the shaft
	RPM         float64
}

// DefaultFriction makes 447.2 W with a full film (Coulomb friction, facts.md
// D). Mu 0.05 to 0.2 and the film's limit are common practice, no source.
func DefaultFriction() Friction {
	return Friction{Mu: 0.05, MuDry: 0.2, FilmDPM: 15, PressureMPa: 0.3, DiameterMM: 50, LengthMM: 50, RPM: 1450}
}

// Heat is how a gland keeps and loses heat.
type Heat struct {
	CapacityJK float64 // of the metal that warms up with the packing, J/K
	LiquidWK   float64 // through metal to the pumped liquid, W/K
	AmbientWK  float64 // to the air, W/K
	DropML     float64 // volume of a drop, mL; 0.05 (pharmacopoeia) to 1/3 (USGS)
}

// DefaultHeat is some 3 kg of steel that runs about 9 °C above the liquid
// (invented).
func DefaultHeat() Heat {
	return Heat{CapacityJK: 1500, LiquidWK: 48, AmbientWK: 2, DropML: 0.05}
}

// Climate is the day's course around the pump.
type Climate struct {
	LiquidC, LiquidSwingC   float64 // mean and half of the swing, °C; warmest at 17:00 UTC
	AmbientC, AmbientSwingC float64 // warmest at 15:00 UTC
}

// DefaultClimate is a mild day (invented).
func DefaultClimate() Climate {
	return Climate{LiquidC: 16, LiquidSwingC: 0.5, AmbientC: 20, AmbientSwingC: 5}
}

const (
	longestPast  = 400 * 24 * time.Hour
	defaultShape = 8
)

func (g Gland) withDefaults() Gland {
	if len(g.Kinds) == 0 {
		g.Kinds = []reading.Kind{reading.Drip, reading.Temp, reading.Ref, reading.Run}
	}
	if g.Shape == 0 {
		g.Shape = defaultShape
	}
	if g.StandingShare == 0 {
		g.StandingShare = 0.3
	}
	if g.Friction == (Friction{}) {
		g.Friction = DefaultFriction()
	}
	if g.Heat == (Heat{}) {
		g.Heat = DefaultHeat()
	}
	if g.Climate == (Climate{}) {
		g.Climate = DefaultClimate()
	}
	if g.TempEvery == 0 {
		g.TempEvery = 10 * time.Second
	}
	return g
}

// Validate reports every fault at once.
func (s Station) Validate() error {
	var errs []error
	if s.Past < 0 || s.Past > longestPast {
		errs = append(errs, fmt.Errorf("simulated station: past %s; want 0 to %s", s.Past, longestPast))
	}
	if len(s.Glands) == 0 {
		errs = append(errs, errors.New("simulated station: no glands; give at least one"))
	}
	seen := make(map[string]bool)
	for _, g := range s.Glands {
		if seen[g.ID] {
			errs = append(errs, fmt.Errorf("simulated gland %s: id used twice", g.ID))
		}
		seen[g.ID] = true
		errs = append(errs, g.withDefaults().validate()...)
	}
	return errors.Join(errs...)
}

func (g Gland) validate() (errs []error) {
	fault := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("simulated gland %s: "+format, append([]any{g.ID}, args...)...))
	}
	within := func(what string, v, least, most float64) {
		if !(v >= least && v <= most) {
			fault("%s %g; want %g to %g", what, v, least, most)
		}
	}
	if !reading.ValidGlandID(g.ID) {
		fault("id %q; want 1 to %d of A-Z a-z 0-9 _ -", g.ID, reading.MaxGlandID)
	}
	fitted := make(map[reading.Kind]bool)
	for _, k := range g.Kinds {
		if k >= reading.Kinds || fitted[k] {
			fault("point kind %s is unknown or given twice", k)
		}
		fitted[k] = true
	}
	within("weep", g.DPM, 0, mostDPM)
	within("shape", g.Shape, 0.2, 1000)
	within("share of splashes", g.SplashShare, 0, 0.5)
	within("share of misses", g.MissShare, 0, 0.5)
	within("wear per day", g.WearPerDay, 0, 1)
	within("share of weep at rest", g.StandingShare, 0, 1)
	within("seconds between temperatures", g.TempEvery.Seconds(), 0.1, 60)
	f, h, c := g.Friction, g.Heat, g.Climate
	within("friction coefficient", f.Mu, 0, 1)
	within("dry friction coefficient", f.MuDry, f.Mu, 1)
	within("film limit", f.FilmDPM, 0.1, mostDPM)
	within("packing pressure", f.PressureMPa, 0, 10)
	within("shaft diameter", f.DiameterMM, 1, 1000)
	within("packing length", f.LengthMM, 1, 1000)
	within("shaft speed", f.RPM, 0, 10_000)
	within("heat capacity", h.CapacityJK, 1, 1e6)
	within("heat loss to the liquid", h.LiquidWK, 0.1, 1e5)
	within("heat loss to the air", h.AmbientWK, 0, 1e5)
	within("drop volume", h.DropML, 0.001, 1)
	for _, v := range []float64{c.LiquidC, c.LiquidSwingC, c.AmbientC, c.AmbientSwingC} {
		within("climate", math.Abs(v), 0, 100)
	}
	for _, e := range g.Events {
		if err := e.validate(); err != nil {
			fault("%w", err)
		}
	}
	return errs
}
