package rules

import (
	"math"
	"time"

	"weepd/rules/reading"
)

// An easy gland's drops and temperatures have nothing to do with each other until
// something has to be judged. So a sweep takes some rows of one gland at once,
// first all temperatures, then all drops, each in a loop of its own; where one of
// them needs judgement the sweep ends before it.

// A sweep looks at no more rows than this; where the last one took few, at fewer,
// so that what is looked at in vain is in proportion to what is taken.
const (
	windowRows = 128
	fewestRows = 4
	shortSweep = 8
)

// window is the rows of a sweep, sorted out of others.
type window struct {
	drops [windowRows]time.Duration
	warms [windowRows]reading.Warm
	size  int // rows to look at
}

// sort puts the rows that come next where they belong, as far as they are easy
// ones of the gland at a place and leave no gap. Drops and temperatures come as
// they like: nothing here asks which it is.
func (w *window) sort(rows []reading.Row, places []int, place int, most reading.Kind, now time.Duration) reading.Stretch {
	drops, warms := 0, 0
	for i := range min(len(rows), max(w.size, fewestRows)) {
		row := &rows[i]
		if places[row.Point] != place || row.Kind > most || row.Quality != reading.Good ||
			uint64(row.At-now) > uint64(MaxSilence) {
			break
		}
		drip := 0
		if row.Kind == reading.Drip {
			drip = 1
		}
		if several := (math.Float64bits(row.Value) ^ math.Float64bits(1)) & -uint64(drip); several != 0 {
			break
		}
		now = row.At
		w.drops[drops&(windowRows-1)] = now
		w.warms[warms&(windowRows-1)] = reading.Warm{At: now, C: row.Value, After: int32(drops), Kind: row.Kind}
		drops, warms = drops+drip, warms+1-drip
	}
	return reading.Stretch{Drops: w.drops[:drops], Warms: w.warms[:warms]}
}

// sweepRows takes rows of an easy gland up to a drop, as far as none needs
// judgement, but maybe the last. It says how many it has taken.
func (s *Station) sweepRows(g *gland, rows []reading.Row, places []int, place int) (taken int) {
	w := &s.window
	most := reading.Drip // where sweeps are short, drops alone are the quickest
	if w.size > shortSweep && g.sweepsWarms() {
		most = reading.Ref
	}
	sorted := w.sort(rows, places, place, most, s.now)
	looked := sorted.Rows()
	taken = s.sweep(g, &sorted, reading.Cursor{}, windowRows).Rows()
	if 2*taken >= looked {
		w.size = min(2*w.size, windowRows)
	} else {
		w.size = 2 * taken
	}
	w.size = max(w.size, fewestRows)
	return taken
}

// sweepsWarms reports that temperatures may be taken in a sweep.
func (g *gland) sweepsWarms() bool { return g.shaft.turns && !g.cfg.InferShaft }

// sweep takes rows of an easy gland up to a drop, at most so many drops, as far as
// none needs judgement, but maybe the last. It says where it has come to.
func (s *Station) sweep(g *gland, rows *reading.Stretch, from reading.Cursor, most int) reading.Cursor {
	until := s.untilOthers(g)
	end := min(from.Drops+most, len(rows.Drops))
	warms := rows.Warms[from.Warms:]
	rise, judgedC, judged := g.rise, g.judgedC, g.judged
	n, again := g.warmEasily(warms, end, until)
	if again { // it needs judgement, so the sweep ends before it
		n--
	}
	if n < len(warms) {
		end = min(end, int(warms[n].After))
	}
	taken := 0
	if end > from.Drops {
		taken = g.glide(rows.Drops[from.Drops:end], min(until, g.rise.SilentAt()))
	}
	to := from.Drops + taken
	if again || n > 0 && int(warms[n-1].After) >= to {
		g.rise, g.judgedC, g.judged = rise, judgedC, judged
		n, _ = g.warmEasily(warms, to, until)
	}
	if taken == 0 {
		return from // and no temperature comes before the first drop
	}
	g.drip.feelWarmth(g.judgedC, g.judged)
	s.now = rows.Drops[to-1]
	return reading.Cursor{Drops: to, Warms: from.Warms + n}
}

// untilOthers is when something else than the detector and the probes of an easy
// gland wants waking.
func (s *Station) untilOthers(g *gland) time.Duration {
	until := g.fixedDue
	if s.agenda[0] != g {
		return min(until, s.agenda[0].due)
	}
	for _, next := range s.agenda[1:min(3, len(s.agenda))] { // a heap: the second is one of these
		until = min(until, next.due)
	}
	return until
}
