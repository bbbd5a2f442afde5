package agent

import (
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// ReplayTally counts what a replay saw, gland by gland.
type ReplayTally struct {
	glands  map[string]*GlandTally
	order   []string
	last    time.Duration // of any row
	watched time.Duration // station time without gaps so far
	any     bool
}

// GlandTally is what a replay saw of one gland.
type GlandTally struct {
	ID           string
	Rows         int64
	First, Last  time.Duration // of its rows; meaningless without any
	Drops        float64
	TurningDrops float64       // of these, while the shaft turned
	Watched      time.Duration // from its first row to the station's last, without gaps
	Turning      time.Duration // of this, with the shaft turning; always, if there is no run row
	DripRows     int64
	DropML       float64 // volume of one drop; 0 = not measured
	Alarms       [rules.Conditions]AlarmTally

	atRest bool
	since  time.Duration // station's watched time at the last change of run, or its first row
	start  time.Duration // station's watched time at its first row
}

// Litres is the water that fell in drops; false where a drop's volume is not
// known.
func (g *GlandTally) Litres() (litres float64, ok bool) {
	return g.Drops * g.DropML / 1000, g.DropML > 0 && g.DripRows > 0
}

// AlarmTally is how often and how long a condition was active.
type AlarmTally struct {
	Times  int
	Total  time.Duration
	Active bool // at the end

	since time.Duration
}

// NewReplayTally makes a tally of the glands of cfg, in its order.
func NewReplayTally(cfg rules.Config) *ReplayTally {
	t := &ReplayTally{glands: make(map[string]*GlandTally, len(cfg.Glands))}
	for _, g := range cfg.Glands {
		t.glands[g.ID] = &GlandTally{ID: g.ID, DropML: g.DropML}
		t.order = append(t.order, g.ID)
	}
	return t
}

// Row counts one row, in order of time.
func (t *ReplayTally) Row(r reading.Reading) {
	if g := t.glands[r.Point.Gland]; g != nil {
		t.row(g, r.At, r.Point.Kind, r.Value, r.Quality)
		return
	}
	t.pass(r.At)
}

// rows counts many rows; glands are those of their points, nil for none of ours.
func (t *ReplayTally) rows(rows []reading.Row, glands []*GlandTally) {
	if t == nil {
		return
	}
	for len(rows) > 0 {
		if g := glands[rows[0].Point]; g != nil && g.Rows > 0 {
			rows = rows[t.plain(g, rows, glands):]
		}
		if len(rows) == 0 {
			return
		}
		row := &rows[0]
		if g := glands[row.Point]; g != nil {
			t.row(g, row.At, row.Kind, row.Value, row.Quality)
		} else {
			t.pass(row.At)
		}
		rows = rows[1:]
	}
}

// plain counts the rows that come next as far as they are good drops and
// temperatures of one gland without a gap, and says how many.
func (t *ReplayTally) plain(g *GlandTally, rows []reading.Row, glands []*GlandTally) (n int) {
	before, last := t.last, t.last
	drips, drops := 0, 0.0
	for n < len(rows) {
		row := &rows[n]
		if row.Kind >= reading.Run || row.Quality != reading.Good || row.At-last > rules.MaxSilence || glands[row.Point] != g {
			break
		}
		// Drops and temperatures come as they like: nothing here asks which it is.
		drip := 0
		if row.Kind == reading.Drip {
			drip = 1
		}
		drips += drip
		drops += float64(drip) * row.Value
		last = row.At
		n++
	}
	if n > 0 {
		t.watched, t.last = t.watched+last-before, last
		g.Rows, g.Last, g.DripRows = g.Rows+int64(n), last, g.DripRows+int64(drips)
		g.drops(drops)
	}
	return n
}

// stretch counts the rows of a stretch between two places.
func (t *ReplayTally) stretch(g *GlandTally, rows *reading.Stretch, from, to reading.Cursor) {
	if g == nil || from == to {
		return
	}
	if first, next := rows.Row(from); g.Rows == 0 || !t.any || first.At-t.last > rules.MaxSilence {
		t.row(g, first.At, first.Kind, first.Value, first.Quality)
		from = next
	}
	last := t.last
	if to.Drops > from.Drops {
		last = max(last, rows.Drops[to.Drops-1])
	}
	if to.Warms > from.Warms {
		last = max(last, rows.Warms[to.Warms-1].At)
	}
	t.watched, t.last = t.watched+last-t.last, last
	g.Rows, g.Last = g.Rows+int64(to.Rows()-from.Rows()), last
	g.DripRows += int64(to.Drops - from.Drops)
	g.drops(float64(to.Drops - from.Drops))
}

// join takes what was counted of each gland apart.
func (t *ReplayTally) join(r apartResult) {
	for _, g := range r.glands {
		t.watched = max(t.watched, g.tally.watched)
	}
	for _, g := range r.glands {
		late := t.watched - g.tally.watched // it began so much after the station
		counted := *g.counted
		counted.start, counted.since = counted.start+late, counted.since+late
		*t.glands[g.id] = counted
	}
	t.last, t.any = r.last, len(r.glands) > 0
}

// pass takes the time up to a row.
func (t *ReplayTally) pass(at time.Duration) {
	if t.any && at-t.last <= rules.MaxSilence {
		t.watched += at - t.last
	}
	t.last, t.any = at, true
}

// row counts one row of a gland.
func (t *ReplayTally) row(g *GlandTally, at time.Duration, kind reading.Kind, value float64, q reading.Quality) {
	t.pass(at)
	if g.Rows == 0 {
		g.First, g.start, g.since = at, t.watched, t.watched
	}
	g.Rows, g.Last = g.Rows+1, at
	switch {
	case kind == reading.Drip:
		g.DripRows++
		if q.OK() {
			g.drops(value)
		}
	case kind == reading.Run && q.OK():
		g.run(value == 0, t.watched)
	}
}

func (g *GlandTally) drops(n float64) {
	g.Drops += n
	if !g.atRest {
		g.TurningDrops += n
	}
}

func (g *GlandTally) run(atRest bool, watched time.Duration) {
	if !g.atRest {
		g.Turning += watched - g.since
	}
	g.atRest, g.since = atRest, watched
}

// Transition counts an alarm that came or went.
func (t *ReplayTally) Transition(tr rules.Transition) {
	g := t.glands[tr.Gland]
	if g == nil {
		return
	}
	a := &g.Alarms[tr.Condition]
	switch {
	case tr.Active && !a.Active:
		a.Times, a.Active, a.since = a.Times+1, true, tr.At
	case !tr.Active && a.Active:
		a.Total, a.Active = a.Total+tr.At-a.since, false
	}
}

// Glands gives the tallies as they stand at the last row.
func (t *ReplayTally) Glands() []GlandTally {
	list := make([]GlandTally, 0, len(t.order))
	for _, id := range t.order {
		g := *t.glands[id]
		if g.Rows > 0 {
			g.run(g.atRest, t.watched)
			g.Watched = t.watched - g.start
		}
		for i := range g.Alarms {
			if a := &g.Alarms[i]; a.Active {
				a.Total += t.last - a.since
			}
		}
		list = append(list, g)
	}
	return list
}

// TurningDPM is the mean weep while the shaft turned, drops per minute; not ok
// without a drip row or without time.
func (g GlandTally) TurningDPM() (dpm float64, ok bool) {
	if g.DripRows == 0 || g.Turning <= 0 {
		return 0, false
	}
	return g.TurningDrops / g.Turning.Minutes(), true
}
