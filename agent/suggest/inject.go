package suggest

import (
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/weep"
)

// change is what is injected: the weep changes to so many drops a minute at once,
// or the rise begins to grow.
type change struct {
	limit Limit
	size  float64 // drops per minute, or °C a minute
}

// changesOf are the changes that a limit is held against, from what is in force.
func changesOf(l Limit, inForce float64) []change {
	switch l {
	case Dry:
		return []change{{l, 0}, {l, tried(inForce, 0.25)}, {l, tried(inForce, 0.5)}}
	case Leak:
		return []change{{l, tried(inForce, 1.5)}, {l, tried(inForce, 2)}, {l, tried(inForce, 3)}}
	default:
		return []change{{l, 1}, {l, 2}, {l, 5}}
	}
}

// beyond says that a change is beyond a limit, so that it is to be found.
func (c change) beyond(limit float64) bool {
	switch c.limit {
	case Dry:
		return c.size < limit
	case Leak:
		return c.size > limit
	default:
		return true
	}
}

// watchRow is how often a sensor without drops says that it is watched, as in
// recordings.
const watchRow = 30 * time.Second

// inject gives the rows of a stretch with a change from the onset on. Drops are
// the gland's own: their times after the onset are stretched or shrunk, so that
// their regularity, splashes and misses stay.
func (s *stretch) inject(c change) []reading.Reading {
	onset := s.onset()
	factor := 0.0 // of the times of drops; 0 = none fall
	if before := s.leadDPM(); c.size > 0 {
		factor = before / c.size
	}
	var rows []reading.Reading
	for _, r := range s.rows {
		switch after := r.At - onset; {
		case after < 0:
		case c.limit == Rise && r.Point.Kind == reading.Temp:
			r.Value += c.size * after.Minutes()
		case c.limit != Rise && r.Point.Kind == reading.Drip:
			if factor == 0 {
				continue
			}
			if r.At = onset + time.Duration(float64(after)*factor); r.At >= s.end() {
				continue
			}
		}
		rows = append(rows, r)
	}
	if c.limit != Rise {
		point := reading.Point{Gland: s.rows[0].Point.Gland, Kind: reading.Drip}
		for at := onset; at < s.lasts(c); at += watchRow {
			rows = append(rows, reading.Reading{At: at, Point: point})
		}
	}
	slices.SortStableFunc(rows, func(a, b reading.Reading) int { return int(a.At - b.At) })
	return rows
}

// lasts is up to when the record is long enough for a change: drops that come
// faster use it up sooner.
func (s *stretch) lasts(c change) time.Duration {
	if before := s.leadDPM(); c.limit != Rise && c.size > before {
		return s.onset() + time.Duration(float64(afterTime)*before/c.size)
	}
	return s.end()
}

// delay injects a change and gives the time to its alarm. early: the condition was
// raised before the change.
func (s *stretch) delay(g rules.GlandConfig, c change) (delay time.Duration, found, early bool) {
	station, err := rules.NewStation(rules.Config{Glands: []rules.GlandConfig{g}})
	if err != nil {
		return 0, false, true
	}
	look := func(out []rules.Transition) bool {
		for _, t := range out {
			if t.Active && t.Condition == c.limit.condition() {
				delay, found = t.At-s.onset(), true
				return true
			}
		}
		return false
	}
	until := s.lasts(c)
	for _, r := range s.inject(c) {
		if r.At > until {
			break
		}
		out, err := station.Feed(r)
		if err != nil {
			return 0, false, true
		}
		if look(out) {
			return delay, delay >= 0, delay < 0
		}
	}
	return 0, false, false
}

// regularity is what the detector learns of a stretch before its onset.
func (s *stretch) regularity(g rules.GlandConfig, models *weep.Models) float64 {
	d := weep.NewDetector(weep.Config{
		DryDPM: g.Limits.DryDPM, LeakDPM: g.Limits.LeakDPM, GushDPM: g.Limits.GushDPM,
		FalseAlarmsPerYear: g.Limits.FalseAlarmsPerYear,
	}, models)
	d.Restart(s.from)
	d.Arm(s.from, true)
	for _, r := range s.rows {
		if n := int(r.Value); r.Point.Kind == reading.Drip && r.Quality.OK() && r.At < s.onset() && n > 0 {
			d.Drops(r.At, n)
		}
	}
	return d.Shape()
}
