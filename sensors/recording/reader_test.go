package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"weepd/rules/reading"
)

const sample = `time,point,value
2026-03-01T08:00:00.000Z,p1-de.run,1
2026-03-01T08:00:00.741Z,p1-de.drip,1
2026-03-01T09:00:01.228+01:00,p1-de.temp,29.1250
2026-03-01T08:00:01.232123456Z,p1-de.ref,-0.5
2026-03-01T08:00:02Z,p1-de.temp,
2026-03-01T08:00:02Z,p1-de.ref,NaN
2026-03-01T08:00:12Z,p1-de.drip,0
2026-03-01T08:00:12Z,p1-de.drip,NaN
`

func sampleRows() []reading.Reading {
	start := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC).UnixNano()
	row := func(ns int64, k reading.Kind, v float64, q reading.Quality) reading.Reading {
		return reading.Reading{At: time.Duration(start + ns), Point: reading.Point{Gland: "p1-de", Kind: k}, Value: v, Quality: q}
	}
	return []reading.Reading{
		row(0, reading.Run, 1, reading.Good),
		row(741e6, reading.Drip, 1, reading.Good),
		row(1228e6, reading.Temp, 29.125, reading.Good),
		row(1232123456, reading.Ref, -0.5, reading.Good),
		row(2e9, reading.Temp, 0, reading.Fault),
		row(2e9, reading.Ref, 0, reading.Fault),
		row(12e9, reading.Drip, 0, reading.Good),
		row(12e9, reading.Drip, 0, reading.Fault),
	}
}

func readAll(r *Reader) ([]reading.Reading, error) {
	var rows []reading.Reading
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		rows = append(rows, row)
	}
}

func gzipped(t *testing.T, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := io.WriteString(w, text)
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func zstandard(t *testing.T, text string) []byte {
	t.Helper()
	w, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	return w.EncodeAll([]byte(text), nil)
}

func TestReaderAcceptsEveryDress(t *testing.T) {
	quoted := `"time","point","value"` + "\n"
	for _, line := range strings.Split(sample, "\n")[1:] {
		if f := strings.Split(line, ","); len(f) == 3 {
			quoted += `"` + f[0] + `","` + f[1] + `",` + f[2] + "\n"
		}
	}
	dresses := map[string][]byte{
		"plain":         []byte(sample),
		"CRLF":          []byte(strings.ReplaceAll(sample, "\n", "\r\n")),
		"BOM":           []byte("\xef\xbb\xbf" + sample),
		"no last end":   []byte(strings.TrimSuffix(sample, "\n")),
		"empty lines":   []byte(strings.ReplaceAll(sample, "\n", "\n\n")),
		"quoted":        []byte(quoted),
		"gzip":          gzipped(t, sample),
		"gzip in parts": append(gzipped(t, sample[:100]), gzipped(t, sample[100:])...),
		"zstd":          zstandard(t, sample),
	}
	for name, content := range dresses {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.csv") // the ending must not matter
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			r, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			rows, err := readAll(r)
			if err := errors.Join(err, r.Close()); err != nil {
				t.Fatal(err)
			}
			if got, want := fmt.Sprint(rows), fmt.Sprint(sampleRows()); got != want {
				t.Errorf("got  %s\nwant %s", got, want)
			}
		})
	}
}

func TestReaderRefuses(t *testing.T) {
	const h, ok = Header + "\n", "2026-03-01T08:00:00Z,a.temp,1\n"
	packed := gzipped(t, h+strings.Repeat(ok, 50))
	cases := []struct {
		name, content, want string
	}{
		{"empty", "", "f:1: empty file; a recording starts"},
		{"only a mark", "\xef\xbb\xbf", "f:1: first line is"},
		{"no header", ok, "f:1: first line is"},
		{"other separator", "time;point;value\n", "f:1: first line is"},
		{"UTF-16", "\xff\xfet\x00i\x00m\x00e\x00", "f:1: UTF-16 text; save"},
		{"binary", "\x7fELF\x02\x01\x01\x00\x00\n", "f:1: first line is"},
		{"long header", strings.Repeat("x", 5000), "f:1: line longer than 1024 bytes;"},
		{"binary later", h + ok + "\x00\x01\x02\n", "f:3: 1 fields in"},
		{"zeros as time", h + strings.Repeat("\x00", 16) + ":00Z,a.temp,1\n", "f:2: time "},
		{"long line", h + ok + strings.Repeat("1", 1025) + "\n", "f:3: line longer than 1024 bytes;"},
		{"endless line", h + strings.Repeat("1", 200_000), "f:2: line longer than 1024 bytes;"},
		{"two fields", h + "2026-03-01T08:00:00Z,a.temp\n", "f:2: 2 fields in"},
		{"four fields", h + "2026-03-01T08:00:00Z,a.temp,1,2\n", "f:2: 4 fields in"},
		{"decimal comma", h + "2026-03-01T08:00:00Z,a.temp,1,5\n", "f:2: 4 fields in"},
		{"empty time", h + ",a.temp,1\n", "f:2: time or point is empty"},
		{"empty point", h + "2026-03-01T08:00:00Z,,1\n", "f:2: time or point is empty"},
		{"no zone", h + "2026-03-01T08:00:00,a.temp,1\n", "f:2: time \"2026-03-01T08:00:00\"; want RFC 3339 with a zone"},
		{"no zone, decimals", h + "2026-03-01T08:00:00.5,a.temp,1\n", "f:2: time "},
		{"space in time", h + "2026-03-01 08:00:00Z,a.temp,1\n", "f:2: time "},
		{"31 April", h + "2026-04-31T08:00:00Z,a.temp,1\n", "f:2: time "},
		{"29 February 2025", h + "2025-02-29T08:00:00Z,a.temp,1\n", "f:2: time "},
		{"leap second", h + "2016-12-31T23:59:60Z,a.temp,1\n", "f:2: time "},
		{"ten decimals", h + "2026-03-01T08:00:00.0000000001Z,a.temp,1\n", "f:2: time "},
		{"year 1969", h + "1969-12-31T23:59:59Z,a.temp,1\n", "f:2: time "},
		{"year 2262", h + "2262-01-01T00:00:00Z,a.temp,1\n", "f:2: time "},
		{"header again", h + ok + h + ok, "f:3: the header again;"},
		{"time back", h + ok + "2026-03-01T07:59:59.5Z,a.temp,1\n", "f:3: time goes back by 500ms; sort"},
		{"time back by zone", h + ok + "2026-03-01T08:30:00+01:00,a.temp,1\n", "f:3: time goes back by 30m0s;"},
		{"no kind", h + "2026-03-01T08:00:00Z,a,1\n", "f:2: point \"a\": want <gland>.drip"},
		{"unknown kind", h + "2026-03-01T08:00:00Z,a.flow,1\n", "f:2: point \"a.flow\""},
		{"bad gland", h + "2026-03-01T08:00:00Z,a b.temp,1\n", "f:2: point \"a b.temp\""},
		{"text value", h + "2026-03-01T08:00:00Z,a.temp,warm\n", "f:2: temp value \"warm\"; want °C"},
		{"infinite", h + "2026-03-01T08:00:00Z,a.temp,+Inf\n", "f:2: temp value \"+Inf\"; want °C"},
		{"overflow", h + "2026-03-01T08:00:00Z,a.temp,1e999\n", "f:2: temp value"},
		{"hexadecimal", h + "2026-03-01T08:00:00Z,a.temp,0x10\n", "f:2: temp value"},
		{"space in value", h + "2026-03-01T08:00:00Z,a.temp, 1\n", "f:2: temp value"},
		{"sign alone", h + "2026-03-01T08:00:00Z,a.temp,-\n", "f:2: temp value"},
		{"fraction of a drop", h + "2026-03-01T08:00:00Z,a.drip,0.5\n", "f:2: drip value \"0.5\"; want a whole number of drops"},
		{"negative drops", h + "2026-03-01T08:00:00Z,a.drip,-1\n", "f:2: drip value"},
		{"too many drops", h + "2026-03-01T08:00:00Z,a.drip,1000001\n", "f:2: drip value"},
		{"infinite drops", h + "2026-03-01T08:00:00Z,a.drip,1e400\n", "f:2: drip value"},
		{"no drop value", h + "2026-03-01T08:00:00Z,a.drip,\n", "f:2: drip value \"\";"},
		{"run 2", h + "2026-03-01T08:00:00Z,a.run,2\n", "f:2: run value \"2\"; want 1 (turning) or 0"},
		{"run by word", h + "2026-03-01T08:00:00Z,a.run,on\n", "f:2: run value"},
		{"no run value", h + "2026-03-01T08:00:00Z,a.run,\n", "f:2: run value"},
		{"truncated gzip", string(packed[:len(packed)-9]), "compressed data ends early"},
		{"gzip magic alone", "\x1f\x8b", "f:1: compressed data ends early"},
		{"damaged gzip", string(packed[:len(packed)-6]) + "abcdef", "compressed data is damaged"},
		{"truncated zstd", string(zstandard(t, sample)[:60]), "compressed data ends early"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, err := NewReader("f", strings.NewReader(c.content))
			if err == nil {
				_, err = readAll(r)
				if _, again := r.Next(); !errors.Is(again, err) {
					t.Errorf("the error is not given again: %v, then %v", err, again)
				}
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v\nwant %s", err, c.want)
			}
			if !strings.HasPrefix(err.Error(), "f:") || !strings.Contains(err.Error(), "; ") {
				t.Errorf("%v: want FILE:LINE: what; what to do", err)
			}
		})
	}
}

func TestOpenSaysWhichFile(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{filepath.Join(dir, "none.csv"), dir} {
		if _, err := Open(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("Open(%s) = %v, want an error that names it", path, err)
		}
	}
}

func TestHeaderAloneIsNoRows(t *testing.T) {
	r, err := NewReader("f", strings.NewReader(Header+"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if rows, err := readAll(r); err != nil || len(rows) != 0 {
		t.Errorf("got %v, %v", rows, err)
	}
}

func TestClosedReaderReadsNoMore(t *testing.T) {
	r, err := NewReader("f", strings.NewReader(sample))
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Next(); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Next after Close = %v", err)
	}
}

func TestNextDoesNotAllocate(t *testing.T) {
	r, err := NewReader("f", strings.NewReader(Header+"\n"+strings.Repeat("2026-03-01T08:00:00.123Z,p1-de.temp,29.1250\n", 2000)))
	if err != nil {
		t.Fatal(err)
	}
	next := func() {
		if _, err := r.Next(); err != nil {
			t.Error(err)
		}
	}
	next() // the first row makes the point known
	if n := testing.AllocsPerRun(1000, next); n != 0 {
		t.Errorf("%g allocations a row", n)
	}
}

// endless repeats two rows within one minute, as recordings do.
type endless struct{ text, rest string }

func (e *endless) Read(b []byte) (int, error) {
	if e.rest == "" {
		e.rest = e.text
	}
	n := copy(b, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

func BenchmarkReader(b *testing.B) {
	const rows = "2026-03-01T08:00:01.228Z,p1-de.drip,1\n2026-03-01T08:00:01.228Z,p1-de.temp,29.1250\n"
	in := io.MultiReader(strings.NewReader(Header+"\n"), &endless{text: strings.Repeat(rows, 1000)})
	r, err := NewReader("f", in)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.Next(); err != nil {
			b.Fatal(err)
		}
	}
}

// The simulation's recording, written by other code than ours.
func TestReadsTheQuarry(t *testing.T) {
	r, err := Open("../../testdata/recordings/quarry.csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := readAll(r)
	if err := errors.Join(err, r.Close()); err != nil {
		t.Fatal(err)
	}
	drops := 0.0
	points := make(map[reading.Point]bool)
	for _, row := range rows {
		points[row.Point] = true
		if row.Point.Kind == reading.Drip {
			drops += row.Value
		}
	}
	length := rows[len(rows)-1].At - rows[0].At
	// Six glands set to 275 dpm together; then one falls by 56, one rises by 105.
	if want := 275*10 + 275*3 + 3*(105-56); len(points) != 24 || math.Abs(drops-float64(want)) > 60 || length.Round(time.Minute) != 13*time.Minute {
		t.Errorf("%g drops (want about %d) on %d points in %s", drops, want, len(points), length)
	}
}
