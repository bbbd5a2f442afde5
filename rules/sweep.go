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

// window is the rows of a sweep by what they are.
type window struct {
	drops  [windowRows]time.Duration
	dropOf [windowRows]uint8 // the rows of drops
	warm   [windowRows]uint8 // the rows of temperatures
	count  int               // of drops
	warms  int               // of temperatures
	size   int               // rows to look at
}

// sort puts the rows that come next where they belong, as far as they are easy
// ones of the gland at a place, come before until and leave no gap. Drops and
// temperatures come as they like: nothing here asks which it is.
func (w *window) sort(rows []reading.Row, places []int, place int, most reading.Kind, now, until time.Duration) {
	w.count, w.warms = 0, 0
	drops, warms := 0, 0
	for i := range min(len(rows), max(w.size, fewestRows)) {
		row := &rows[i]
		if places[row.Point] != place || row.Kind > most || row.Quality != reading.Good ||
			uint64(row.At-now) > uint64(MaxSilence) || row.At >= until {
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
		w.drops[drops&(windowRows-1)], w.dropOf[drops&(windowRows-1)] = now, uint8(i)
		w.warm[warms&(windowRows-1)] = uint8(i)
		drops, warms = drops+drip, warms+1-drip
	}
	w.count, w.warms = drops, warms
}

// end cuts off what comes after so many drops, and says how many rows are left.
func (w *window) end(drops int) (rows int) {
	if w.count = drops; drops == 0 {
		w.warms = 0
		return 0
	}
	last := w.dropOf[drops-1]
	for w.warms > 0 && w.warm[w.warms-1] > last {
		w.warms--
	}
	return int(last) + 1
}

// before is how many drops come before a row.
func (w *window) before(row uint8) (drops int) {
	drops = w.count
	for drops > 0 && w.dropOf[drops-1] > row {
		drops--
	}
	return drops
}

// sweep takes rows of an easy gland up to a drop, as far as none needs judgement,
// but maybe the last. It says how many it has taken.
func (s *Station) sweep(g *gland, rows []reading.Row, places []int) (taken int) {
	w := &s.window
	most := reading.Drip // where sweeps are short, drops alone are the quickest
	if w.size > shortSweep && g.shaft.turns && !g.cfg.InferShaft {
		most = reading.Ref
	}
	w.sort(rows, places, g.order, most, s.now, s.untilOthers(g))
	looked := w.count + w.warms
	if w.end(w.count) > 0 {
		taken = g.sweep(w, rows)
	}
	if 2*taken >= looked {
		w.size = min(2*w.size, windowRows)
	} else {
		w.size = 2 * taken
	}
	w.size = max(w.size, fewestRows)
	return taken
}

func (g *gland) sweep(w *window, rows []reading.Row) (taken int) {
	if w.warms == 0 {
		taken = w.end(g.glide(w.drops[:w.count], streamSpan/16, never))
	} else {
		rise, judgedC, judged := g.rise, g.judgedC, g.judged
		again := func(drops int) {
			g.rise, g.judgedC, g.judged = rise, judgedC, judged
			w.end(drops)
			g.warmEasily(rows, w.warm[:w.warms])
		}
		if n := g.warmEasily(rows, w.warm[:w.warms]); n < w.warms {
			again(w.before(w.warm[n]))
		}
		if n := g.glide(w.drops[:w.count], streamSpan/16, never); n < w.count {
			again(n)
		}
		taken = w.end(w.count)
	}
	if taken > 0 {
		g.drip.feelWarmth(g.judgedC, g.judged)
	}
	return taken
}

// warmEasily takes temperatures as far as they need no judgement. It says how
// many, but has taken one that brings the rise over its limit all the same.
func (g *gland) warmEasily(rows []reading.Row, which []uint8) int {
	for n, i := range which {
		row := &rows[i]
		if row.Kind == reading.Ref {
			if !g.rise.Reference.Steady(row.At, row.Value) {
				return n
			}
			continue
		}
		if steady, hot := g.feelEasily(row.At, row.Value); !steady || hot {
			return n
		}
	}
	return len(which)
}

// untilOthers is when something else than the detector of an easy gland wants
// waking.
func (s *Station) untilOthers(g *gland) time.Duration {
	until := g.restDue
	if s.agenda[0] != g {
		return min(until, s.agenda[0].due)
	}
	for _, next := range s.agenda[1:min(3, len(s.agenda))] { // a heap: the second is one of these
		until = min(until, next.due)
	}
	return until
}
