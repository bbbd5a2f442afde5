package simulated

import (
	"context"
	"fmt"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source plays a simulated station in real time.
type Source struct {
	station  Station
	clock    sensors.Clock
	patience *sensors.Patience
}

// New checks the station. One Source stands for all its glands, so that their
// readings come in order of time.
func New(s Station, clock sensors.Clock) (*Source, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	return &Source{station: s, clock: clock}, nil
}

// Points lists every fitted point of every gland.
func (s *Source) Points() []reading.Point {
	var points []reading.Point
	for _, g := range s.station.Glands {
		for _, k := range g.withDefaults().Kinds {
			points = append(points, reading.Point{Gland: g.ID, Kind: k})
		}
	}
	return points
}

// String says how large the station is.
func (s *Source) String() string {
	return fmt.Sprintf("simulated station of %d glands", len(s.station.Glands))
}

// Heed lets readings wait until they are asked for, as those of a pin do; each pin
// makes one read more then that does not wait (gpio.BenchmarkBeat: under 1 µs).
func (s *Source) Heed(p *sensors.Patience) { s.patience = p }

// Run first emits the station's past, all at once and with time stamps from
// Past before the clock's time up to it, then goes on in real time until ctx
// ends.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	sim, err := NewSim(s.station, s.clock())
	if err != nil {
		return err
	}
	for {
		r := sim.Next()
		if !s.waitUntil(ctx, r.At) {
			return nil
		}
		emit(r)
	}
}

// longestHeld bounds what is still emitted after the end of Run's context: what
// waited to be asked for, but not the rest of a long past.
const longestHeld = 5 * time.Second

// waitUntil is false when ctx ends before a time.
func (s *Source) waitUntil(ctx context.Context, at time.Duration) bool {
	for {
		wait := at - s.clock()
		if wait <= 0 {
			return ctx.Err() == nil || -wait < longestHeld
		}
		if ctx.Err() != nil {
			return false
		}
		if s.patience.Asked(ctx) {
			continue
		}
		if wait = at - s.clock(); wait <= 0 {
			continue
		}
		timer := time.NewTimer(wholeWait(wait))
		select {
		case <-ctx.Done():
			timer.Stop()
		case <-timer.C:
		}
	}
}

// wholeWait rounds a wait up to whole milliseconds and a little. The Go runtime
// waits in whole milliseconds, rounded down, so that any other wait wakes the
// processor twice.
func wholeWait(d time.Duration) time.Duration {
	const little = 30 * time.Microsecond
	return (d + time.Millisecond - 1).Truncate(time.Millisecond) + little
}
