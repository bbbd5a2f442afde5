package recording

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"weepd/rules/reading"
)

// Writer writes a recording that Reader reads. It is not safe for concurrent
// use.
type Writer struct {
	out    *bufio.Writer
	row    []byte
	stamps stampWriter
	last   int64 // Unix nanoseconds of the row before
	header bool
}

// NewWriter writes a recording to w. Call Flush at the end.
func NewWriter(w io.Writer) *Writer { return &Writer{out: bufio.NewWriterSize(w, 64<<10)} }

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
	ns := wall.UnixNano()
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
	if err := w.ensureHeader(); err != nil {
		return err
	}
	w.last = ns
	_, err := w.out.Write(w.format(r, ns))
	return err
}

// stamp is a Unix time in nanoseconds for an error.
func stamp(ns int64) string { return time.Unix(0, ns).UTC().Format(time.RFC3339Nano) }

func (w *Writer) format(r reading.Reading, ns int64) []byte {
	row := w.stamps.append(w.row[:0], ns)
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
	row = append(row, '\n')
	w.row = row
	return row
}

// Flush writes what is buffered; a recording without rows gets its header.
func (w *Writer) Flush() error {
	return errors.Join(w.ensureHeader(), w.out.Flush())
}

func (w *Writer) ensureHeader() error {
	if w.header {
		return nil
	}
	w.header = true
	_, err := w.out.WriteString(Header + "\n")
	return err
}
