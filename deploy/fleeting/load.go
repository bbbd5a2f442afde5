package main

import (
	"context"
	"fmt"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/simulated"
)

const (
	tempEvery = 7500 * time.Millisecond
	// loadChange is from one change of a gland's temperature to the next: four
	// readings, of which two raise `burning` or clear it.
	loadChange = 4 * tempEvery
)

// swinging is the gland's and the reference's temperature: 5 °C over the
// reference and back, over and over, which raises `burning` at a limit of 2 °C.
type swinging struct {
	gland string
	phase time.Duration // so that not all glands of a fleet change at once
	clock sensors.Clock
}

func (s swinging) String() string { return "swing of " + s.gland }

func (s swinging) Points() []reading.Point {
	return []reading.Point{{Gland: s.gland, Kind: reading.Temp}, {Gland: s.gland, Kind: reading.Ref}}
}

func (s swinging) Run(ctx context.Context, emit func(reading.Reading)) error {
	points := s.Points()
	timer := time.NewTimer(s.phase % tempEvery)
	defer timer.Stop()
	for turn := int(s.phase / tempEvery); ; turn++ {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		timer.Reset(tempEvery)
		at := s.clock()
		emit(reading.Reading{At: at, Point: points[1], Value: 20})
		emit(reading.Reading{At: at, Point: points[0], Value: 20 + 5*float64(turn/4%2)})
	}
}

func glandConfig(id string) rules.GlandConfig {
	g := rules.GlandConfig{
		ID: id, NormalDPM: 30,
		Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 2, FalseAlarmsPerYear: 1},
	}
	for _, k := range []reading.Kind{reading.Drip, reading.Temp, reading.Ref, reading.Run} {
		g.Fitted[k] = true
	}
	return g
}

// dripping is the drops and the shaft of all glands of a station.
func dripping(station int, ids []string, clock sensors.Clock) (sensors.Source, error) {
	s := simulated.Station{Seed: uint64(station) + 1}
	for _, id := range ids {
		s.Glands = append(s.Glands, simulated.Gland{ID: id, DPM: 30, Kinds: []reading.Kind{reading.Drip, reading.Run}})
	}
	return simulated.New(s, clock)
}

func stationID(i int) string { return fmt.Sprintf("s%04d", i) }
