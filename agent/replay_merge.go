package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules/reading"
)

// merge gives the rows of several recordings as one, in order of time.
type merge struct {
	heads []head
	last  map[reading.Point]*origin

	now  *head // of the rows that next gives
	left int
}

// head is a recording with the rows that come next.
type head struct {
	from   supply
	batch  rowBatch
	next   int            // of the batch's rows
	taken  reading.Cursor // of its stretch
	err    error
	points []point // by Row.Point

	// Replay's, by Row.Point.
	places  []int
	tallies []*GlandTally
}

// rowBatch is rows that were read together, with the place of each.
type rowBatch struct {
	rows    []reading.Row
	stretch *reading.Stretch        // what there is instead of rows; may be nil or empty
	of      [reading.Ref + 1]uint16 // the points of the stretch
	points  []reading.Point
	where   func(i int) string
}

// point is what a merge keeps of a recorded point.
type point struct {
	reading.Point
	last *origin
}

// origin is where the last row of a point came from.
type origin struct {
	at   time.Duration
	head int
}

// newMerge merges rows; with stretches, which only one recording may have.
func newMerge(ctx context.Context, recordings []Recorded, stretches bool) (*merge, error) {
	if len(recordings) == 0 {
		return nil, errors.New("nothing to replay; name at least one recording")
	}
	m := &merge{last: make(map[reading.Point]*origin)}
	for _, r := range recordings {
		m.heads = append(m.heads, head{from: newSupply(ctx, r, stretches && len(recordings) == 1)})
	}
	return m, nil
}

// close stops what reads ahead.
func (m *merge) close() {
	for i := range m.heads {
		m.heads[i].from.stop()
	}
}

// fill gets the next rows where they are used up. A faulty recording ends the
// merge when its fault is met: what the others hold after it cannot be put in
// order any more.
func (m *merge) fill() error {
	for i := range m.heads {
		h := &m.heads[i]
		if h.next == len(h.batch.rows) && h.taken == h.batch.stretch.End() && h.err == nil {
			h.next, h.taken = 0, reading.Cursor{}
			if h.batch, h.err = h.from.next(); h.err != nil {
				h.batch.rows, h.batch.stretch = nil, nil
			}
			for j := len(h.points); j < len(h.batch.points); j++ {
				h.points = append(h.points, m.point(h.batch.points[j]))
			}
		}
		if h.err != nil && !errors.Is(h.err, io.EOF) {
			return h.err
		}
	}
	return nil
}

func (m *merge) point(p reading.Point) point {
	if m.last[p] == nil {
		m.last[p] = &origin{head: -1}
	}
	return point{Point: p, last: m.last[p]}
}

// run gives the recording whose rows come next and how many of those at hand come
// before any other's; the caller is to take them all (head.next), or of a stretch
// (head.taken), which comes without rows. Of rows of one instant those of the
// recording named first go first.
func (m *merge) run() (h *head, rows int, err error) {
	if err := m.fill(); err != nil {
		return nil, 0, err
	}
	first, second := m.earliest()
	if first < 0 {
		return nil, 0, io.EOF
	}
	h = &m.heads[first]
	coming := h.batch.rows[h.next:]
	if second >= 0 {
		limit := m.heads[second].at()
		if first > second {
			limit-- // at the same instant the other one goes first
		}
		rows = 1
		for rows < len(coming) && coming[rows].At <= limit {
			rows++
		}
		coming = coming[:rows]
	}
	if len(m.heads) == 1 {
		return h, len(coming), nil
	}
	rows, err = m.once(first, coming)
	return h, rows, err
}

// earliest finds the two recordings whose next rows come first; -1: none.
func (m *merge) earliest() (first, second int) {
	first, second = -1, -1
	for i := range m.heads {
		switch h := &m.heads[i]; {
		case h.err != nil:
		case first < 0 || h.at() < m.heads[first].at():
			first, second = i, first
		case second < 0 || h.at() < m.heads[second].at():
			second = i
		}
	}
	return first, second
}

func (h *head) at() time.Duration { return h.batch.rows[h.next].At }

// once gives as many rows as are no second ones: the same instant of one point
// from two recordings is refused, as its drops would count twice.
func (m *merge) once(i int, rows []reading.Row) (int, error) {
	h := &m.heads[i]
	for j := range rows {
		p := &h.points[rows[j].Point]
		if p.last.head != i && p.last.head >= 0 && p.last.at == rows[j].At {
			if j > 0 {
				return j, nil // and is met again
			}
			return 0, fmt.Errorf("%s: %s at this time stands in another recording too; name each stretch of time once",
				h.batch.where(h.next), p.Point)
		}
		*p.last = origin{rows[j].At, i}
	}
	return len(rows), nil
}

// next gives the earliest row.
func (m *merge) next() (row reading.Reading, where func() string, err error) {
	if m.left == 0 {
		if m.now, m.left, err = m.run(); err != nil {
			return reading.Reading{}, nil, err
		}
	}
	h, i := m.now, m.now.next
	m.left--
	h.next++
	return h.reading(&h.batch.rows[i]), func() string { return h.batch.where(i) }, nil
}

func (h *head) reading(r *reading.Row) reading.Reading {
	return reading.Reading{At: r.At, Point: h.points[r.Point].Point, Value: r.Value, Quality: r.Quality}
}
