package recording

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"weepd/rules/reading"
)

// MaxDrops is the largest drop count of one row: more than half a day of the
// fastest dripping there is (a thin tube gives at most about 24 drops a
// second, Clanet & Lasheras 1999).
const MaxDrops = 1_000_000

// maxAgo bounds how many seconds ago a gland was repacked: three centuries, as
// long as times are.
const maxAgo = 9e9

// maxFlats bounds how far gland nuts are turned at a time: twelve turns.
const maxFlats = 72

// parse reads one row. Errors carry no position.
func (r *Reader) parse(line []byte) (reading.Row, error) {
	stamp, point, value, ok := fields(line)
	if !ok {
		return reading.Row{}, wrongFields(line)
	}
	if line[0] == '"' || line[len(line)-1] == '"' || point[0] == '"' {
		stamp, point, value = unquote(stamp), unquote(point), unquote(value)
	}
	ns, ok := r.stamps.parse(stamp)
	if !ok {
		return reading.Row{}, wrongStamp(line, stamp)
	}
	if ns < r.last && r.rows > 0 {
		return reading.Row{}, fmt.Errorf("time goes back by %s; sort the rows by time, or split the recording here",
			time.Duration(r.last-ns))
	}
	number, err := r.number(point)
	if err != nil {
		return reading.Row{}, err
	}
	kind := r.known[number].Kind
	row := reading.Row{At: time.Duration(ns), Point: number, Kind: kind}
	v, ok := parseNumber(value)
	if !ok {
		return reading.Row{}, wrongNumber(kind, value)
	}
	switch {
	case math.IsNaN(v):
		if len(value) == 0 && kind != reading.Temp && kind != reading.Ref || kind.Mark() {
			return reading.Row{}, wrongNumber(kind, value)
		}
		row.Quality = reading.Fault
	case !inRange(kind, v):
		return reading.Row{}, wrongNumber(kind, value)
	default:
		row.Value = v
	}
	r.last = ns
	return row, nil
}

// fields cuts a row at its commas; a third comma is left in value, where the
// number's parser refuses it.
func fields(line []byte) (stamp, point, value []byte, ok bool) {
	i := bytes.IndexByte(line, ',')
	if i <= 0 {
		return nil, nil, nil, false
	}
	rest := line[i+1:]
	j := bytes.IndexByte(rest, ',')
	if j <= 0 || bytes.IndexByte(rest[j+1:], ',') >= 0 {
		return nil, nil, nil, false
	}
	return line[:i], rest[:j], rest[j+1:], true
}

func inRange(k reading.Kind, v float64) bool {
	switch k {
	case reading.Drip:
		return v >= 0 && v <= MaxDrops && v == math.Trunc(v)
	case reading.Run, reading.Watch:
		return v == 0 || v == 1
	case reading.Repacked:
		return v >= 0 && v <= maxAgo
	case reading.Adjusted:
		return v != 0 && math.Abs(v) <= maxFlats
	default:
		return !math.IsInf(v, 0)
	}
}

func wrongFields(line []byte) error {
	if n := bytes.Count(line, []byte{','}) + 1; n != 3 {
		return fmt.Errorf("%d fields in %s; want three: %s", n, excerpt(line), Header)
	}
	return fmt.Errorf("time or point is empty in %s; want %s", excerpt(line), Header)
}

func wrongStamp(line, stamp []byte) error {
	if string(unquote(line)) == Header {
		return errors.New("the header again; recordings were joined, give them one by one")
	}
	return fmt.Errorf("time %s; want RFC 3339 with a zone, years %d to %d, like 2026-03-01T08:00:00.250Z or 2026-03-01T09:00:00+01:00",
		excerpt(stamp), firstYear, lastYear)
}

func wrongNumber(k reading.Kind, value []byte) error {
	want := "want °C as a decimal number, or NaN for a sensor fault"
	switch k {
	case reading.Drip:
		want = fmt.Sprintf("want a whole number of drops from 0 to %d", MaxDrops)
	case reading.Run:
		want = "want 1 (turning) or 0 (at rest)"
	case reading.Watch:
		want = "want 1 (an agent began to watch) or 0 (it went on)"
	case reading.Repacked:
		want = "want the seconds since the gland was repacked, 0 for now"
	case reading.Adjusted:
		want = fmt.Sprintf("want the flats that the gland nuts were turned by, up to %d either way and not 0", maxFlats)
	default:
	}
	return fmt.Errorf("%s value %s; %s", k, excerpt(value), want)
}

// unquote removes the quotes that some programs put around every field of a
// CSV file. None of our fields may hold a quote, so all of them go.
func unquote(b []byte) []byte {
	if bytes.IndexByte(b, '"') < 0 {
		return b
	}
	var out []byte
	for i, f := range bytes.Split(b, []byte{','}) {
		if n := len(f); n >= 2 && f[0] == '"' && f[n-1] == '"' {
			f = f[1 : n-1]
		}
		if i > 0 {
			out = append(out, ',')
		}
		out = append(out, f...)
	}
	return out
}

// withoutMark removes the UTF-8 byte order mark; UTF-16 is refused with a hint.
func withoutMark(line []byte) ([]byte, error) {
	if bytes.HasPrefix(line, []byte("\xff\xfe")) || bytes.HasPrefix(line, []byte("\xfe\xff")) {
		return nil, errors.New("UTF-16 text; save the recording as UTF-8")
	}
	return bytes.TrimPrefix(line, []byte("\xef\xbb\xbf")), nil
}

// excerpt quotes at most the first 40 bytes.
func excerpt(b []byte) string {
	if len(b) > 40 {
		return fmt.Sprintf("%q...", strings.ToValidUTF8(string(b[:40]), "?"))
	}
	return fmt.Sprintf("%q", b)
}
