package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

// maxLine bounds a row: time (35 bytes), point (37), value and two commas need
// far less.
const maxLine = 1024

var errLongLine = fmt.Errorf("line longer than %d bytes; this is no recording, or its line ends were lost", maxLine)

// bufferSize is what is read at a time: a quarter of a usual second-level cache.
// Of 32 to 1,024 KiB it was the quickest.
const bufferSize = 256 << 10

// lineReader cuts its input into lines without copying or allocating.
type lineReader struct {
	in         io.Reader
	buf        []byte
	start, end int   // unread part of buf
	err        error // from in, given once buf is used up
	number     int64 // of the line that next gave last
}

func newLineReader(in io.Reader) *lineReader {
	return &lineReader{in: in, buf: make([]byte, bufferSize)}
}

// next gives the next line without its LF or CRLF; it stays valid until the
// next call. A last line without an end counts.
func (l *lineReader) next() ([]byte, error) {
	for searched := l.start; ; {
		if i := bytes.IndexByte(l.buf[searched:l.end], '\n'); i >= 0 {
			line := l.buf[l.start : searched+i]
			l.start = searched + i + 1
			return l.give(line)
		}
		if l.err != nil {
			return l.rest()
		}
		if l.end-l.start > maxLine+1 {
			l.number++
			return nil, errLongLine
		}
		l.fill()
		searched = l.start
	}
}

// short reports that what is at hand may not hold a whole row.
func (l *lineReader) short() bool { return l.end-l.start < quickRoom }

func (l *lineReader) rest() ([]byte, error) {
	if !errors.Is(l.err, io.EOF) || l.start == l.end {
		l.number++
		return nil, l.err
	}
	line := l.buf[l.start:l.end]
	l.start = l.end
	return l.give(line)
}

func (l *lineReader) give(line []byte) ([]byte, error) {
	l.number++
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	if len(line) > maxLine {
		return nil, errLongLine
	}
	return line, nil
}

func (l *lineReader) fill() {
	l.end = copy(l.buf, l.buf[l.start:l.end])
	l.start = 0
	for range 100 { // a reader may give nothing now and then, but not for ever
		n, err := l.in.Read(l.buf[l.end:])
		l.end += n
		l.err = err
		if n > 0 || err != nil {
			return
		}
	}
	l.err = io.ErrNoProgress
}
