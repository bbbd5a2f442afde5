package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/recording"
	"weepd/sensors/simulated"
)

// Simulation is a recording to be invented.
type Simulation struct {
	Glands []SimulatedGland
	Seed   uint64
	From   time.Time
	For    time.Duration
	Unit   time.Duration // times are whole multiples of it; 1 ns to 1 s

	// What all glands have in common; package simulated has the units and ranges.
	Shape, SplashShare, MissShare, WearPerDay float64
	TempEvery                                 time.Duration
	Without                                   []reading.Kind // not fitted
}

// SimulatedGland is a gland with its weep, drops per minute, and what happens to
// it, after From.
type SimulatedGland struct {
	ID     string
	DPM    float64
	Events []simulated.Event
}

// Write writes the recording. The same Simulation gives the same text.
func (m Simulation) Write(ctx context.Context, out io.Writer) error {
	start := time.Duration(m.From.UnixNano()).Truncate(m.Unit)
	sim, err := simulated.NewSim(m.station(), start)
	if err != nil {
		return err
	}
	w := recording.NewWriter(out)
	return errors.Join(m.write(ctx, w, sim, start+m.For), w.Flush())
}

// Validate reports every fault at once.
func (m Simulation) Validate() error {
	var errs []error
	if m.For <= 0 || m.For > mostSimulated {
		errs = append(errs, fmt.Errorf("length %s; want a time up to %s", m.For, mostSimulated))
	}
	if y := m.From.UTC().Year(); y < 1970 || y > 2250 {
		errs = append(errs, fmt.Errorf("start %s; want the years 1970 to 2250", m.From.Format(time.RFC3339)))
	}
	if m.Unit < 1 || m.Unit > time.Second {
		errs = append(errs, fmt.Errorf("unit %s; want 1ns to 1s", m.Unit))
	}
	return errors.Join(append(errs, m.station().Validate())...)
}

// mostSimulated is ten years.
const mostSimulated = 87_600 * time.Hour

func (m Simulation) write(ctx context.Context, w *recording.Writer, sim *simulated.Sim, end time.Duration) error {
	for n := 0; ; n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		r := sim.Next()
		if r.At >= end {
			return nil
		}
		at := r.At - r.At%time.Millisecond
		if m.Unit != time.Millisecond { // the usual one is quicker as a constant
			at = r.At - r.At%m.Unit
		}
		if err := w.WriteUnix(r, int64(at)); err != nil {
			return err
		}
	}
}

func (m Simulation) station() simulated.Station {
	missing := make(map[reading.Kind]bool)
	for _, k := range m.Without {
		missing[k] = true
	}
	var kinds []reading.Kind
	for k := range reading.Kinds {
		if !missing[k] {
			kinds = append(kinds, k)
		}
	}
	out := simulated.Station{Seed: m.Seed}
	for _, g := range m.Glands {
		out.Glands = append(out.Glands, simulated.Gland{
			ID: g.ID, Kinds: kinds, DPM: g.DPM, Shape: m.Shape, SplashShare: m.SplashShare, MissShare: m.MissShare,
			WearPerDay: m.WearPerDay, TempEvery: m.TempEvery, Events: g.Events,
		})
	}
	return out
}
