package agent

import (
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules/reading"
)

// merge gives the rows of several recordings as one, in order of time.
type merge struct {
	heads []head
	last  map[reading.Point]origin
	ahead int // head whose row was given last and must be read anew; -1: none
}

// head is a recording with the row that comes next.
type head struct {
	from Recorded
	row  reading.Reading
	err  error // why there is no row: io.EOF or a fault
}

// origin is where the last row of a point came from.
type origin struct {
	at   time.Duration
	head int
}

func newMerge(recordings []Recorded) (*merge, error) {
	if len(recordings) == 0 {
		return nil, errors.New("nothing to replay; name at least one recording")
	}
	m := &merge{last: make(map[reading.Point]origin), ahead: -1}
	for _, r := range recordings {
		row, err := r.Next()
		m.heads = append(m.heads, head{r, row, err})
	}
	return m, nil
}

// next gives the earliest row. A faulty recording ends the merge when its
// fault is met: what the others hold after it cannot be put in order any more.
func (m *merge) next() (row reading.Reading, where func() string, err error) {
	if m.ahead >= 0 {
		h := &m.heads[m.ahead]
		h.row, h.err = h.from.Next()
		m.ahead = -1
	}
	first := -1
	for i, h := range m.heads {
		switch {
		case errors.Is(h.err, io.EOF):
		case h.err != nil:
			return reading.Reading{}, nil, h.err
		case first < 0 || h.row.At < m.heads[first].row.At:
			first = i
		}
	}
	if first < 0 {
		return reading.Reading{}, nil, io.EOF
	}
	h := &m.heads[first]
	if err := m.once(first, h.row); err != nil {
		return reading.Reading{}, nil, err
	}
	m.ahead = first
	return h.row, h.from.Where, nil
}

// once refuses the same instant of one point from two recordings: its drops
// would count twice.
func (m *merge) once(i int, row reading.Reading) error {
	before, seen := m.last[row.Point]
	if seen && before.at == row.At && before.head != i {
		return fmt.Errorf("%s: %s at this time stands in another recording too; name each stretch of time once",
			m.heads[i].from.Where(), row.Point)
	}
	m.last[row.Point] = origin{row.At, i}
	return nil
}
