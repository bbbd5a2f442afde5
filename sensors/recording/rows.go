package recording

import (
	"errors"
	"fmt"
	"io"

	"weepd/rules/reading"
)

// Batch is rows that were read together.
type Batch struct {
	Rows   []reading.Row   // Line counts from the line before the first
	Points []reading.Point // met so far, in the order of their first rows; grows only

	name string
	line int64 // before the first row
}

// NewBatch makes an empty batch for so many rows.
func NewBatch(rows int) *Batch { return &Batch{Rows: make([]reading.Row, 0, rows)} }

// Where names the place of the i-th row as FILE:LINE.
func (b *Batch) Where(i int) string {
	return fmt.Sprintf("%s:%d", b.name, b.line+int64(b.Rows[i].Line))
}

// mostPoints is how many different points one recording may have.
const mostPoints = 1<<16 - 1

// Read fills a batch with the next rows, as many as it has room for unless the
// recording ends before. Only without any row it gives an error, which is Next's.
// It reads the very rows that Next reads but is many times faster, and the two
// may take turns.
func (r *Reader) Read(b *Batch) error {
	r.base = r.lines.number
	rows, n := b.Rows[:cap(b.Rows)], 0
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
	b.Rows, b.Points, b.name, b.line = rows[:n], r.known, r.name, r.base
	if n == 0 {
		return r.err
	}
	return nil
}

// nextRow reads one row of any form; not ok means that r.err says why.
func (r *Reader) nextRow() (row reading.Row, ok bool) {
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
