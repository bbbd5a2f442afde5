package recording

import (
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules/reading"
)

// Batch is rows that were read together: either one by one or as a stretch.
type Batch struct {
	Rows    []reading.Row   // Line counts from the line before the first
	Stretch reading.Stretch // empty if there are Rows
	Of      [reading.Ref + 1]uint16
	Points  []reading.Point // met so far, in the order of their first rows; grows only

	name string
	line int64 // before the first row
}

// NewBatch makes an empty batch for so many rows.
func NewBatch(rows int) *Batch {
	drops, warms := max(rows*3/4, 1), max(rows/4, 1)
	return &Batch{
		Rows:    make([]reading.Row, 0, rows),
		Stretch: reading.Stretch{Drops: make([]time.Duration, 0, drops), Warms: make([]reading.Warm, 0, warms)},
	}
}

// Where names the place of the i-th row as FILE:LINE.
func (b *Batch) Where(i int) string {
	line := int64(i) + 1 // a stretch has no other lines between
	if len(b.Rows) > 0 {
		line = int64(b.Rows[i].Line)
	}
	return fmt.Sprintf("%s:%d", b.name, b.line+line)
}

// Unroll makes rows of the stretch.
func (b *Batch) Unroll() {
	var row reading.Row
	for at := (reading.Cursor{}); at.Rows() < b.Stretch.Rows(); {
		row, at = b.Stretch.Row(at)
		row.Point, row.Line = b.Of[row.Kind], uint32(at.Rows())
		b.Rows = append(b.Rows, row)
	}
	b.Stretch.Drops, b.Stretch.Warms = b.Stretch.Drops[:0], b.Stretch.Warms[:0]
}

// mostPoints is how many different points one recording may have.
const mostPoints = 1<<16 - 1

// Read fills a batch with the next rows, as many as it has room for unless the
// recording ends before or rows of another sort come. Only without any row it
// gives an error, which is Next's. It reads the very rows that Next reads but is
// many times faster, and the two may take turns.
func (r *Reader) Read(b *Batch) error {
	r.base = r.lines.number
	b.Rows, b.Stretch.Drops, b.Stretch.Warms = b.Rows[:0], b.Stretch.Drops[:0], b.Stretch.Warms[:0]
	n := 0
	if r.singly == 0 && r.err == nil && !r.hasAside && r.ofOneGland() {
		n = r.stretch(b)
		if r.pause = min(2*r.pause, mostSingly); n >= fewestRows {
			r.pause = fewestRows / 2
		}
	}
	if n == 0 {
		n = r.readSingly(b)
	}
	b.Points, b.name, b.line = r.known, r.name, r.base
	if n == 0 {
		return r.err
	}
	return nil
}

// readSingly reads rows one by one, not too many before the next try of a stretch.
func (r *Reader) readSingly(b *Batch) (n int) {
	if r.singly == 0 {
		r.singly = max(r.pause, fewestRows/2)
	}
	r.expecting = r.singly <= fewestRows
	rows := b.Rows[:min(cap(b.Rows), r.singly)]
	if r.singly > fewestRows {
		rows = rows[:min(len(rows), r.singly-fewestRows/2)]
	}
	if r.hasAside {
		r.base = r.lines.number - 1 // it is the line read last
		rows[0], _ = r.nextRow()
		rows[0].Line, n = 1, 1
	}
	for n < len(rows) && r.err == nil {
		if n += r.quickRows(rows[n:]); n == len(rows) {
			break
		}
		if r.lines.short() && r.lines.err == nil {
			r.lines.fill()
			continue
		}
		if row, ok := r.nextRow(); ok {
			rows[n] = row
			n++
		}
	}
	b.Rows, r.singly = rows[:n], r.singly-n
	return n
}

// nextRow reads one row of any form; not ok means that r.err says why.
func (r *Reader) nextRow() (row reading.Row, ok bool) {
	if r.hasAside {
		r.hasAside = false
		return r.aside, true
	}
	line, err := r.lines.next()
	for err == nil && len(line) == 0 {
		line, err = r.lines.next()
	}
	if err != nil {
		r.err = io.EOF
		if !errors.Is(err, io.EOF) {
			r.err = r.at(explain(err))
		}
		return reading.Row{}, false
	}
	if row, err = r.parse(line); err != nil {
		r.err = r.at(err)
		return reading.Row{}, false
	}
	r.rows++
	row.Line = uint32(r.lines.number - r.base)
	return row, true
}

// number is the place of a point in Points; a new one is put there.
func (r *Reader) number(point []byte) (uint16, error) {
	if i, known := r.points[string(point)]; known {
		return i, nil
	}
	p, err := reading.ParsePoint(string(point))
	if err != nil {
		return 0, fmt.Errorf("%w; correct the point", err)
	}
	if len(r.known) == mostPoints {
		return 0, fmt.Errorf("more than %d different points; split the recording by gland", mostPoints)
	}
	i := uint16(len(r.known))
	r.points[p.String()] = i
	r.known = append(r.known, p)
	return i, nil
}
