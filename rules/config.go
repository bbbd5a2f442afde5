// Package rules is the pure core: timestamped inputs go in, new state and
// transitions come out. It does no I/O, starts no goroutine, reads no clock
// and uses no randomness, so that live operation and replay are the same code.
package rules

import (
	"errors"
	"fmt"
	"time"

	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

// Config is what the core needs to know of a station.
type Config struct {
	Glands []GlandConfig
}

// GlandConfig is one gland with its limits in force; nothing is defaulted here.
type GlandConfig struct {
	ID        string
	NormalDPM float64 // the weep it is set to, drops per minute; > 0
	Limits    Limits
	Timing    Timing
	DropML    float64     // volume of one drop, mL; 0 = not measured
	Nuts      upkeep.Nuts // of the gland; zero where not known
	Fitted    Fitted      // which points have a source
	// InferShaft: without a run signal, say from weep and heat whether the shaft
	// turns; otherwise it is taken to turn always, as in recordings.
	InferShaft bool
}

// Limits bound the good band of one gland.
type Limits struct {
	DryDPM             float64 // least weep that cools and lubricates, shaft turning; > 0
	LeakDPM            float64 // most weep allowed; > DryDPM
	GushDPM            float64 // weep that counts as a stream; > LeakDPM
	RiseC              float64 // most rise over the reference, °C; > 0
	FalseAlarmsPerYear float64 // budget of each condition on each gland; > 0
}

// Timing keeps conditions from chattering.
type Timing struct {
	StartGrace      time.Duration // after a start, how long `dry` waits for the film to form
	OnDelay         time.Duration // a limit must be exceeded this long before its alarm
	OffDelay        time.Duration // a condition must be gone this long before its alarm clears
	RunIn           time.Duration // how long a gland is run in after repacking; 0 = not at all
	Settle          time.Duration // after an agent's start, how long beside these delays what was active before it may stay unproven
	DeadbandPercent float64       // rise must fall this far below its limit to clear, percent of the limit
}

// Fitted says which points a gland has.
type Fitted [reading.Kinds]bool

// Validate reports every fault of the configuration at once.
func (c Config) Validate() error {
	var errs []error
	seen := make(map[string]bool, len(c.Glands))
	for _, g := range c.Glands {
		if !reading.ValidGlandID(g.ID) {
			errs = append(errs, fmt.Errorf("gland id %q: want 1 to %d of A-Z a-z 0-9 _ -", g.ID, reading.MaxGlandID))
		}
		if seen[g.ID] {
			errs = append(errs, fmt.Errorf("gland %s: id used twice", g.ID))
		}
		seen[g.ID] = true
		errs = append(errs, g.validate()...)
	}
	return errors.Join(errs...)
}

func (g GlandConfig) validate() (errs []error) {
	l := g.Limits
	ordered := l.DryDPM > 0 && l.LeakDPM > l.DryDPM && l.GushDPM > l.LeakDPM
	if !ordered {
		errs = append(errs, fmt.Errorf("gland %s: want 0 < dry %g < leak %g < gush %g", g.ID, l.DryDPM, l.LeakDPM, l.GushDPM))
	}
	if !(l.RiseC > 0) || !(l.FalseAlarmsPerYear > 0) || !(g.NormalDPM > 0) {
		errs = append(errs, fmt.Errorf("gland %s: rise limit, false-alarm budget and normal weep must be above 0", g.ID))
	}
	if g.Timing.StartGrace < 0 || g.Timing.OnDelay < 0 || g.Timing.OffDelay < 0 || g.Timing.RunIn < 0 || g.Timing.Settle < 0 || !(g.Timing.DeadbandPercent >= 0) {
		errs = append(errs, fmt.Errorf("gland %s: delays and deadband must not be negative", g.ID))
	}
	return errs
}
