package upkeep

import (
	"time"
)

// view is a Life looked at, at a moment.
type view struct {
	cfg     Config
	at      time.Duration
	series  series
	shape   float64
	entries []Entry // effective, by time
	cuts    []cut
	since   time.Duration // of the packing in the box; 0: not known
	wander  float64
}

// cut is something done that changes the weep: what came before and after must
// not be mixed.
type cut struct {
	seq      uint64
	from, at time.Duration // first and last entry of it
	flats    float64
	adjust   bool // an adjustment, recorded or not
	recorded bool
	before   float64 // noticed: the step's own levels
	after    float64
}

const (
	// together is how near adjustments count as one: a flat, a wait, a look,
	// another flat (Army TM 5-4210-233-14&P-2 waits 2 minutes between).
	together = 2 * time.Hour
	// Settling is left out after work at the gland: the film forms anew. The same
	// manual runs 2 minutes before it looks; no source for the rest.
	Settling = 10 * time.Minute
)

func (l *Life) view(at time.Duration, entries []Entry) *view {
	v := &view{cfg: l.cfg, at: at, shape: l.shape, entries: entries, series: l.series.within(-1<<62, at)}
	for _, e := range entries {
		if e.Kind == Repacked && !e.Void && e.At <= at {
			v.since = e.At
		}
	}
	for _, e := range entries {
		if e.Void && e.Kind != Noticed || e.At < v.since || e.At > at {
			continue
		}
		v.addCut(e)
	}
	v.series = v.series.within(v.since, at)
	v.wander = v.measureWander()
	return v
}

func (v *view) addCut(e Entry) {
	c := cut{seq: e.Seq, from: e.At, at: e.At, recorded: true}
	switch e.Kind {
	case Adjusted:
		c.flats, c.adjust = e.Flats, true
	case Noticed:
		if claimed(e, v.entries) {
			return
		}
		c.recorded, c.adjust = false, !e.Void // dismissed: the weep stepped all the same
		c.before, c.after = e.Before, e.After
	case Counted, Corrected:
		return
	case Repacked, SleeveChanged, ShaftChanged, SensorCleaned, FlushChanged:
	}
	if n := len(v.cuts); n > 0 && c.at-v.cuts[n-1].at < together && c.adjust && v.cuts[n-1].adjust {
		last := &v.cuts[n-1]
		last.at, last.flats, last.recorded = c.at, last.flats+c.flats, last.recorded || c.recorded
		return
	}
	v.cuts = append(v.cuts, c)
}

// claimed reports whether a recorded adjustment is the noticed step.
func claimed(step Entry, entries []Entry) bool {
	for _, e := range entries {
		if e.Kind == Adjusted && !e.Void && (e.Step == step.Seq || e.At-step.At < together && step.At-e.At < together) {
			return true
		}
	}
	return false
}

// leg is the time between two cuts, Settling left out.
func (v *view) leg(i int) (from, to time.Duration) {
	from, to = v.since, v.at
	if i >= 0 {
		from = v.cuts[i].at + Settling
	}
	if i+1 < len(v.cuts) {
		to = v.cuts[i+1].from
	}
	return from, to
}

// now is the leg that goes on.
func (v *view) now() series { return v.series.within(v.leg(len(v.cuts) - 1)) }

const (
	// levelSpan is the watched time of a level, levelReach how far back it may lie.
	levelSpan  = 6 * time.Hour
	levelReach = 3 * 24 * time.Hour
	// usualWander is taken until enough hours show the gland's own. No source.
	usualWander = 0.08
	leastBlocks = 8
)

// level gives the weep of buckets with the limits that the gland's own wander
// calls for.
func (v *view) level(s series) Level { return s.level(v.shape, v.wander) }

// latest is the weep now.
func (v *view) latest() Level {
	from, to := v.leg(len(v.cuts) - 1)
	return v.level(v.series.within(max(from, to-levelReach), to).last(levelSpan))
}

func (v *view) offers() []Step {
	var list []Step
	for _, e := range v.entries {
		if e.Kind == Noticed && !e.Void && !claimed(e, v.entries) {
			list = append(list, Step{Seq: e.Seq, At: e.At, BeforeDPM: e.Before, AfterDPM: e.After})
		}
	}
	return list
}

func (v *view) packing() Packing {
	p := Packing{}
	for _, e := range v.entries {
		if e.Void || e.At > v.at {
			continue
		}
		switch e.Kind {
		case Repacked:
			p = Packing{Known: true, Since: e.At, Name: e.Packing, Rings: e.Rings}
		case Adjusted:
			p.Flats += e.Flats
		case SleeveChanged, ShaftChanged, SensorCleaned, Counted, FlushChanged, Corrected, Noticed:
		}
	}
	if each := v.cfg.Nuts.MMPerFlat(); p.Known && each > 0 && v.cfg.Nuts.TravelMM > 0 {
		p.Travel = Travel{Known: true, UsedMM: max(0, p.Flats*each), OfMM: float64(v.cfg.Nuts.TravelMM)}
	}
	return p
}

// count compares the newest hand count with the sensor.
func (v *view) count() Count {
	for i := len(v.entries) - 1; i >= 0; i-- {
		e := v.entries[i]
		if e.Kind != Counted || e.Void {
			continue
		}
		hour := v.series.within(e.At-90*time.Minute, e.At+90*time.Minute)
		c := Count{Known: true, At: e.At, Hand: handRate(e.Drops, e.Minutes), Sensor: v.level(hour)}
		c.Agree = c.Sensor.Known && c.Hand.LowDPM <= c.Sensor.HighDPM && c.Sensor.LowDPM <= c.Hand.HighDPM
		return c
	}
	return Count{}
}
