package recording

import (
	"weepd/rules/reading"
)

// Nearly all rows of a recording are single drops and temperatures of one gland,
// stamped in UTC to the millisecond. They are read into a stretch: no row is made
// of them, and there is no call in the loop but for a new minute or a temperature
// not met before.

const (
	// A stretch of fewer rows than this is not worth its batch: rows one by one
	// come next, so many of them.
	fewestRows = 64
	mostSingly = 4096
	// Where stamps are of another form a scan finds nothing; it is tried again after
	// so many rows.
	mostOdd = 63
)

// stretch reads as many rows into the batch's stretch as go there.
func (r *Reader) stretch(b *Batch) (n int) {
	s := &b.Stretch
	r.expecting = false // the shapes stay as they are
	odd := 0            // so many rows are taken for odd ones, as those before were
	for before := 0; r.plainRows(s); before = s.Rows() {
		if r.lines.short() && r.lines.err == nil {
			r.lines.fill()
		} else if !r.nextMinute() && !r.oddRow(s) {
			break
		}
		if odd = min(2*odd+1, mostOdd); s.Rows() > before+1 {
			odd = 0
		}
		for i := 0; i < odd && len(s.Drops) < cap(s.Drops) && r.oddRow(s); i++ {
		}
		if r.hasAside {
			break
		}
	}
	for kind := range b.Of {
		b.Of[kind] = r.quick.shapes[kind].point
	}
	return s.Rows()
}

// plainRows reads rows until one needs a closer look; it reports whether there is
// room for more.
func (r *Reader) plainRows(stretch *reading.Stretch) bool {
	l, q := r.lines, &r.quick
	s := &q.scan
	s.buf, s.next, s.end = l.buf[:l.end], l.start, l.end-quickRoom
	s.last, s.apart, s.minute = r.last, int64(reading.MostApart), q.minute
	s.drops, s.nd = stretch.Drops[:cap(stretch.Drops)], len(stretch.Drops)
	s.warms, s.nw = stretch.Warms[:cap(stretch.Warms)], len(stretch.Warms)
	s.stamp = [2]uint64{q.day, q.hour}
	s.scanWith(q)
	n := int64(s.nd + s.nw - stretch.Rows())
	stretch.Drops, stretch.Warms = s.drops[:s.nd], s.warms[:s.nw]
	l.start = s.next
	l.number += n
	r.rows += n
	r.last = s.last
	return s.nd < len(s.drops) && s.nw < len(s.warms)
}

// oddRow takes a row that is plain but for its text: another form of the stamp, a
// temperature not met lately. One that does not belong to the stretch is put aside.
func (r *Reader) oddRow(s *reading.Stretch) bool {
	var row reading.Row
	before := r.last
	if len(s.Warms) == cap(s.Warms) || !r.quickRow(&row) {
		return false
	}
	if row.Kind > reading.Ref || row.Point != r.quick.shapes[row.Kind].point || r.quick.shapes[row.Kind].size == 0 ||
		row.Kind == reading.Drip && row.Value != 1 || r.last-before > int64(reading.MostApart) {
		r.aside, r.hasAside = row, true
		return false
	}
	if row.Kind == reading.Drip {
		s.Drops = append(s.Drops, row.At)
	} else {
		s.Warms = append(s.Warms, reading.Warm{At: row.At, C: row.Value, After: int32(len(s.Drops)), Kind: row.Kind})
	}
	return true
}

// ofOneGland makes patterns of the shapes of one gland, as a stretch is.
func (r *Reader) ofOneGland() bool {
	q := &r.quick
	drip := &q.shapes[reading.Drip]
	if drip.size == 0 {
		return false
	}
	for kind := reading.Temp; kind <= reading.Ref; kind++ {
		if s := &q.shapes[kind]; s.size > 0 && r.known[s.point].Gland != r.known[drip.point].Gland {
			s.size = 0
		}
	}
	scan, temp, ref := &q.scan, &q.shapes[reading.Temp], &q.shapes[reading.Ref]
	scan.drip, scan.temp, scan.ref = drip.pattern, temp.findable(), ref.findable()
	scan.long = max(drip.size, temp.size, ref.size) > stampSize+16
	return true
}

// findable is what a scan looks for; of a shape not known, what no row has.
func (s *shape) findable() pattern {
	if s.size > 0 {
		return s.pattern
	}
	never := pattern{}
	never.text[0], never.mask[0] = '\n', 0xFF
	return never
}
