package recording

import (
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules/reading"
)

// Row is a row as Rows gives it: a reading with its point by number.
type Row struct {
	At      time.Duration // Unix time, as in Next
	Value   float64
	line    uint32 // lines after Reader.base
	Point   uint16 // index into Points
	Kind    reading.Kind
	Quality reading.Quality
}

// mostPoints is how many different points one recording may have.
const mostPoints = 1<<16 - 1

// Rows gives the next rows, at most len(rows); only with none of them it gives
// an error, which is as Next's. It reads the very same rows as Next but is many
// times faster, and the two may take turns.
func (r *Reader) Rows(rows []Row) (n int, err error) {
	r.base = r.lines.number
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
	if n == 0 && len(rows) > 0 {
		return 0, r.err
	}
	return n, nil
}

// Points lists the points met so far, in the order of their first rows. The
// list only grows.
func (r *Reader) Points() []reading.Point { return r.known }

// WhereRow names the place of a row of the last call of Rows, as FILE:LINE.
func (r *Reader) WhereRow(row Row) string {
	return fmt.Sprintf("%s:%d", r.name, r.base+int64(row.line))
}

// nextRow reads one row of any form; not ok means that r.err says why.
func (r *Reader) nextRow() (row Row, ok bool) {
	line, err := r.lines.next()
	for err == nil && len(line) == 0 {
		line, err = r.lines.next()
	}
	if err != nil {
		r.err = io.EOF
		if !errors.Is(err, io.EOF) {
			r.err = r.at(explain(err))
		}
		return Row{}, false
	}
	if row, err = r.parse(line); err != nil {
		r.err = r.at(err)
		return Row{}, false
	}
	r.rows++
	row.line = uint32(r.lines.number - r.base)
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
