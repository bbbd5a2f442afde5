// Package recording reads, writes and plays recordings of a station.
//
// A recording is CSV with the header `time,point,value`:
//
//   - time: RFC 3339 with a zone and up to nanoseconds, years 1970 to 2261,
//     never going back from one row to the next.
//   - point: `<gland>.drip`, `.temp`, `.ref` or `.run`; exports of the agent also
//     have the marks `.watch` and `.repacked`.
//   - value: new drops at that instant (0 to MaxDrops; 0 = watched, nothing
//     fell), °C, °C, or 0/1 for the shaft. Empty (temp and ref only) or NaN
//     says that the sensor reported a fault. `.watch` 1: an agent began here,
//     knowing nothing of before; 0: it went on watching and no point had anything
//     to say. `.repacked`: the gland was repacked so many seconds before.
//
// Lines end in LF or CRLF; a UTF-8 byte order mark, quoted fields and empty
// lines are accepted. gzip and zstd are recognised by their content.
package recording

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync/atomic"

	"weepd/rules/reading"
)

// Header is the first line of every recording.
const Header = "time,point,value"

// Reader gives a recording's rows one by one. It is not safe for concurrent
// use.
type Reader struct {
	name      string
	input     *countedReader
	lines     *lineReader
	release   func()            // the decompressor
	file      io.Closer         // nil: not ours to close
	points    map[string]uint16 // places in known
	known     []reading.Point
	stamps    stampParser
	quick     quick
	last      int64 // Unix nanoseconds of the row before
	rows      int64
	base      int64 // line before the first row of the last batch
	singly    int   // rows to be read one by one before a stretch is tried
	pause     int   // what singly becomes then
	aside     reading.Row
	hasAside  bool  // aside comes next
	expecting bool  // a stretch comes soon: shapes are looked for
	err       error // what ended the reading; sticky
}

// Open opens the recording at path; "-" is standard input. Close it after use.
func Open(path string) (*Reader, error) {
	if path == "-" {
		return NewReader("stdin", os.Stdin)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open recording: %w; check the path", err)
	}
	r, err := NewReader(path, f)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	r.file = f
	return r, nil
}

// NewReader reads a recording from in; name stands for it in errors. An empty
// input or a wrong header is an error here, later faults come from Next.
func NewReader(name string, in io.Reader) (*Reader, error) {
	counted := &countedReader{in: in}
	plain, release, err := decompress(counted)
	if err != nil {
		return nil, fmt.Errorf("%s:1: %w", name, explain(err))
	}
	r := &Reader{
		name:    name,
		input:   counted,
		lines:   newLineReader(plain),
		release: release,
		points:  make(map[string]uint16),
	}
	if err := r.readHeader(); err != nil {
		release()
		return nil, err
	}
	return r, nil
}

func (r *Reader) readHeader() error {
	line, err := r.lines.next()
	if errors.Is(err, io.EOF) {
		return r.at(errors.New("empty file; a recording starts with the line " + Header))
	}
	if err != nil {
		return r.at(explain(err))
	}
	line, err = withoutMark(line)
	if err != nil {
		return r.at(err)
	}
	if string(unquote(line)) != Header {
		return r.at(fmt.Errorf("first line is %s; want %s, with commas and in lower case", excerpt(line), Header))
	}
	return nil
}

// Next gives the next row. At is the row's Unix time in nanoseconds. A row
// whose sensor reported a fault has quality Fault, all others Good. The end is
// io.EOF; any other error reads "FILE:LINE: what; what to do" and, like the
// end, is given again by each later call.
func (r *Reader) Next() (reading.Reading, error) {
	if r.err != nil {
		return reading.Reading{}, r.err
	}
	row, ok := r.nextRow()
	if !ok {
		return reading.Reading{}, r.err
	}
	return reading.Reading{At: row.At, Point: r.known[row.Point], Value: row.Value, Quality: row.Quality}, nil
}

// Taken is how many bytes were taken from the input so far, packed as they are;
// it may be asked by another goroutine.
func (r *Reader) Taken() int64 { return r.input.n.Load() }

// countedReader counts what is read.
type countedReader struct {
	in io.Reader
	n  atomic.Int64
}

func (c *countedReader) Read(b []byte) (int, error) {
	n, err := c.in.Read(b)
	c.n.Add(int64(n))
	return n, err
}

// Close releases the file and the decompressor. Standard input stays open.
func (r *Reader) Close() error {
	r.release()
	if r.err == nil {
		r.err = fmt.Errorf("%s: %w", r.name, os.ErrClosed)
	}
	if r.file == nil {
		return nil
	}
	file := r.file
	r.file = nil
	return file.Close()
}

func (r *Reader) at(err error) error {
	return fmt.Errorf("%s:%d: %w", r.name, max(r.lines.number, 1), err)
}
