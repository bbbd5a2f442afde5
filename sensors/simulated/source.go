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
	station Station
	clock   sensors.Clock
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

func (s *Source) waitUntil(ctx context.Context, at time.Duration) bool {
	for {
		wait := at - s.clock()
		if wait <= 0 {
			return ctx.Err() == nil
		}
		timer := time.NewTimer(wholeWait(wait))
		select {
		case <-ctx.Done():
			timer.Stop()
			return false
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
