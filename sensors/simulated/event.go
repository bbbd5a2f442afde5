package simulated

import (
	"fmt"
	"slices"
	"time"
)

// EventKind is what happens to a gland.
type EventKind string

// The events. ToDPM and Over belong to the first five, For to the sensors'.
const (
	Dry            EventKind = "dry"              // weep falls to ToDPM over Over
	Burn           EventKind = "burn"             // over-tight: as Dry, and the packing presses 2.5 times as hard
	Leak           EventKind = "leak"             // weep rises to ToDPM over Over
	Gush           EventKind = "gush"             // a jet of ToDPM; its drops merge
	Tighten        EventKind = "tighten"          // an adjustment to ToDPM: the packing presses a little harder
	Stop           EventKind = "stop"             // the shaft comes to rest
	Start          EventKind = "start"            // the shaft turns
	DripSensorDead EventKind = "drip_sensor_dead" // no drop is counted
	TempSensorOpen EventKind = "temp_sensor_open" // its wire is broken
)

// Event happens to a gland at a time after the station's start; a negative At
// lies in its past.
type Event struct {
	At    time.Duration
	Kind  EventKind
	ToDPM float64       // drops per minute; 0 to 1000
	Over  time.Duration // how long the change takes; 0 = at once
	For   time.Duration // how long a sensor's fault lasts; 0 = for ever
}

func (e Event) validate() error {
	kinds := []EventKind{Dry, Burn, Leak, Gush, Tighten, Stop, Start, DripSensorDead, TempSensorOpen}
	switch {
	case !slices.Contains(kinds, e.Kind):
		return fmt.Errorf("event %q; want one of %v", e.Kind, kinds)
	case !(e.ToDPM >= 0 && e.ToDPM <= mostDPM):
		return fmt.Errorf("event %s to %g dpm; want 0 to %d", e.Kind, e.ToDPM, mostDPM)
	case e.Over < 0 || e.For < 0:
		return fmt.Errorf("event %s over %s for %s; want no negative times", e.Kind, e.Over, e.For)
	case e.At < -longestPast || e.At > longestPast || e.Over > longestPast || e.For > longestPast:
		return fmt.Errorf("event %s at %s; want times up to %s", e.Kind, e.At, longestPast)
	}
	return nil
}

// How much harder the packing presses after an event (invented).
const (
	burnPressure    = 2.5
	tightenPressure = 1.1
)

// happen changes the gland; it reports whether the shaft started or stopped.
func (g *gland) happen(e Event) (turned bool) {
	switch e.Kind {
	case Stop, Start:
		running := e.Kind == Start
		turned = running != g.running
		g.running = running
	case DripSensorDead:
		g.deadUntil = until(g.now, e.For)
	case TempSensorOpen:
		g.openUntil = until(g.now, e.For)
	default:
		g.weep.to(e.ToDPM, g.now, e.Over)
		if e.Kind == Burn {
			g.pressure *= burnPressure
		}
		if e.Kind == Tighten {
			g.pressure *= tightenPressure
		}
	}
	return turned
}

func until(now int64, length time.Duration) int64 {
	if length == 0 {
		return never
	}
	return now + int64(length)
}

// ramp is a level that moves in a straight line.
type ramp struct {
	from, target float64
	begin, end   int64 // ns
}

func (r *ramp) to(target float64, now int64, over time.Duration) {
	*r = ramp{from: r.at(now), target: target, begin: now, end: now + int64(over)}
}

func (r *ramp) at(now int64) float64 {
	if now >= r.end {
		return r.target
	}
	return r.from + (r.target-r.from)*float64(now-r.begin)/float64(r.end-r.begin)
}
