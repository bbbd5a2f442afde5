package recording

import (
	"fmt"
	"io"
	"math"
	"time"

	"weepd/rules/reading"
)

// Writer writes a recording that Reader reads. It is not safe for concurrent
// use.
type Writer struct {
	out    io.Writer
	text   []byte // not yet written
	err    error  // of out; sticky
	stamps stampWriter
	last   int64 // Unix nanoseconds of the row before
	header bool
}

// writeAt is how much text is gathered before it is written.
const writeAt = 256 << 10

// NewWriter writes a recording to w. Call Flush at the end.
func NewWriter(w io.Writer) *Writer { return &Writer{out: w} }

// Write adds a row for r, stamped with the wall time (written in UTC; r.At is
// not used, because only the caller knows the wall time of a steady time). A
// reading of bad quality is written as NaN and read back as Fault; an inferred
// one is written like a measured one. Errors: wall time before that of the
// row before or outside the years 1970 to 2261, or a value that the kind of
// point cannot have; the row is not written then.
func (w *Writer) Write(r reading.Reading, wall time.Time) error {
	if s := wall.Unix(); s < 0 || s > lastSecond {
		return fmt.Errorf("recording of %s: time %s; want the years %d to %d", r.Point, wall.UTC().Round(0), firstYear, lastYear)
	}
	return w.WriteUnix(r, wall.UnixNano())
}

// WriteUnix is Write with the wall time as Unix nanoseconds, in its range.
func (w *Writer) WriteUnix(r reading.Reading, ns int64) error {
	if w.header && ns < w.last {
		return fmt.Errorf("recording of %s: time %s goes back from %s; begin another recording",
			r.Point, stamp(ns), stamp(w.last))
	}
	if !reading.ValidGlandID(r.Point.Gland) || r.Point.Kind >= reading.Kinds && !r.Point.Kind.Mark() {
		return fmt.Errorf("recording: point %q cannot be written; correct the gland's id", r.Point)
	}
	if r.Quality.OK() && (math.IsNaN(r.Value) || !inRange(r.Point.Kind, r.Value)) {
		return fmt.Errorf("recording of %s: %s reading of %g cannot be written; give it a bad quality", r.Point, r.Quality, r.Value)
	}
	w.begin()
	w.last = ns
	if w.text = w.format(r, ns); len(w.text) >= writeAt {
		w.write()
	}
	return w.err
}

func (w *Writer) write() {
	if w.err == nil && len(w.text) > 0 {
		_, w.err = w.out.Write(w.text)
	}
	w.text = w.text[:0]
}

// stamp is a Unix time in nanoseconds for an error.
func stamp(ns int64) string { return time.Unix(0, ns).UTC().Format(time.RFC3339Nano) }

func (w *Writer) format(r reading.Reading, ns int64) []byte {
	row := w.stamps.append(w.text, ns)
	row = append(row, ',')
	row = append(row, r.Point.Gland...)
	row = append(row, '.')
	row = append(row, r.Point.Kind.String()...)
	row = append(row, ',')
	if r.Quality.OK() {
		row = appendNumber(row, r.Value)
	} else {
		row = append(row, "NaN"...)
	}
	return append(row, '\n')
}

// Flush writes what is gathered; a recording without rows gets its header.
func (w *Writer) Flush() error {
	w.begin()
	w.write()
	return w.err
}

func (w *Writer) begin() {
	if !w.header {
		w.header = true
		w.text = append(w.text, Header+"\n"...)
	}
}
