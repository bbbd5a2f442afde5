package rules

import (
	"time"

	"weepd/rules/upkeep"
)

// meter measures the weep hour by hour for the upkeep: what is counted while the
// shaft turns, the film has formed and the count is to be believed.
type meter struct {
	open     upkeep.Bucket
	last     time.Duration // time has been taken up to here
	phase    time.Duration
	next     time.Duration // a look at the upkeep before the full hour; 0: none
	begun    bool
	counting bool
}

// begin opens the first bucket. The upkeep is looked at a minute later, so that
// what was known before a restart holds again soon.
func (m *meter) begin(at time.Duration, order int) {
	phase := time.Duration(order) * glandPhase % time.Hour
	*m = meter{phase: phase, open: upkeep.Bucket{From: at, To: at}, last: at, begun: true, next: at + firstLook}
}

const (
	firstLook  = time.Minute
	glandPhase = 7 * time.Second
)

// pass takes the time up to at, which counted as it did.
func (m *meter) pass(at time.Duration) {
	if !m.begun || at <= m.last {
		return
	}
	if m.counting {
		m.open.Watched += at - m.last
	}
	m.open.To, m.last = at, at
}

// drops takes drops that fell up to at.
func (m *meter) drops(at time.Duration, n int) {
	m.pass(at)
	if m.counting {
		m.open.Drops += uint32(n)
	}
}

// deadline is when the bucket ends: every hour of the steady clock, each gland
// some seconds after another, so that not all are looked at together.
func (m *meter) deadline() (time.Duration, bool) {
	due := (m.open.From - m.phase).Truncate(time.Hour) + time.Hour + m.phase
	if m.next > 0 {
		due = min(due, m.next)
	}
	return due, m.begun
}

// close ends the bucket and opens the next.
func (m *meter) close(at time.Duration) upkeep.Bucket {
	m.pass(at)
	done := m.open
	m.open, m.next = upkeep.Bucket{From: at, To: at}, 0
	return done
}

// skip leaves out a gap up to at.
func (m *meter) skip(at time.Duration) (upkeep.Bucket, bool) {
	if !m.begun {
		return upkeep.Bucket{}, false
	}
	done := m.close(m.last)
	m.open, m.last, m.counting = upkeep.Bucket{From: at, To: at}, at, false
	return done, true
}

// metered reports whether drops count for the upkeep now.
func (g *gland) metered() bool {
	d := &g.drip
	return d.seen && d.believed() && !d.cold && g.shaft.turning() && g.shaft.armed && !g.stream.merged && !g.stream.suspect
}
