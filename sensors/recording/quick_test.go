package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// readRows reads all in batches of a size, with the place of each row.
func readRows(r *Reader, size int) (rows []reading.Reading, places []string, err error) {
	batch := NewBatch(size)
	for {
		if err := r.Read(batch); err != nil {
			return rows, places, err
		}
		var before [8]string
		for i := range min(8, batch.Stretch.Rows()) {
			before[i] = batch.Where(i)
		}
		batch.Unroll()
		for i, row := range batch.Rows {
			if i < 8 && before[i] != "" && before[i] != batch.Where(i) {
				return nil, nil, fmt.Errorf("row %d is at %s, unrolled at %s", i, before[i], batch.Where(i))
			}
			p := batch.Points[row.Point]
			if p.Kind != row.Kind {
				return nil, nil, fmt.Errorf("row of %s has kind %s", p, row.Kind)
			}
			rows = append(rows, reading.Reading{At: row.At, Point: p, Value: row.Value, Quality: row.Quality})
			places = append(places, batch.Where(i))
		}
	}
}

// readSlowly reads all with Next.
func readSlowly(r *Reader) (rows []reading.Reading, places []string, err error) {
	for {
		row, err := r.Next()
		if err != nil {
			return rows, places, err
		}
		rows, places = append(rows, row), append(places, r.Where())
	}
}

// agree fails if the ways to read differ in a row, a place or the error.
func agree(t interface{ Fatalf(string, ...any) }, data []byte, batch int, through func(io.Reader) io.Reader) {
	agreeScanning(t, data, batch, through, false)
	agreeScanning(t, data, batch, through, true)
}

func agreeScanning(t interface{ Fatalf(string, ...any) }, data []byte, batch int, through func(io.Reader) io.Reader, portable bool) {
	slow, err1 := NewReader("f", bytes.NewReader(data))
	fast, err2 := NewReader("f", through(bytes.NewReader(data)))
	if err1 != nil || err2 != nil {
		if fmt.Sprint(err1) != fmt.Sprint(err2) {
			t.Fatalf("%v, in batches %v", err1, err2)
		}
		return
	}
	fast.quick.scan.portable = portable
	want, wantPlaces, wantErr := readSlowly(slow)
	got, places, err := readRows(fast, batch)
	for i := range min(len(want), len(got)) {
		if fmt.Sprintf("%#v %s", want[i], wantPlaces[i]) != fmt.Sprintf("%#v %s", got[i], places[i]) {
			t.Fatalf("row %d: %v at %s, in batches %v at %s", i, want[i], wantPlaces[i], got[i], places[i])
		}
	}
	if len(got) != len(want) || fmt.Sprint(err) != fmt.Sprint(wantErr) || errors.Is(err, io.EOF) != errors.Is(wantErr, io.EOF) {
		t.Fatalf("%d rows and %v, in batches %d rows and %v", len(want), wantErr, len(got), err)
	}
}

// anyText is a recording of rows usual and unusual, right and wrong.
func anyText() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		at := time.Unix(0, rapid.Int64Range(0, 4e18).Draw(t, "start")).UTC()
		layouts := []string{
			"2006-01-02T15:04:05.000Z07:00", "2006-01-02T15:04:05.000Z07:00", "2006-01-02T15:04:05.000Z07:00",
			time.RFC3339, time.RFC3339Nano, "2006-01-02T15:04:05.000000Z07:00", "2006-01-02t15:04:05.0000000z07:00",
		}
		names := rapid.SliceOfN(rapid.StringMatching(`[a-zA-Z0-9_-]{1,10}|[a-z]{11,33}`), 1, 3).Draw(t, "glands")
		odd := rapid.SampledFrom([]float64{0, 0, 0.02, 0.3}).Draw(t, "odd")
		end := rapid.SampledFrom([]string{"\n", "\n", "\n", "\r\n"}).Draw(t, "line end")
		var b strings.Builder
		b.WriteString(Header + end)
		for range rapid.IntRange(0, 60).Draw(t, "rows") {
			at = at.Add(time.Duration(rapid.SampledFrom([]int64{0, 1, 1e6, 7e8, 61e9, 3601e9, -1}).Draw(t, "step")))
			kind := rapid.SampledFrom([]reading.Kind{reading.Drip, reading.Drip, reading.Temp, reading.Ref, reading.Run, reading.Watch, reading.Repacked, reading.Adjusted}).Draw(t, "kind")
			value := rapid.OneOf(rapid.SampledFrom([]string{"1", "1", "0", "7", "12", "NaN", ""}),
				rapid.StringMatching(`-?[0-9]{0,4}\.?[0-9]{0,4}`)).Draw(t, "value")
			row := fmt.Sprintf("%s,%s.%s,%s", at.Format(rapid.SampledFrom(layouts).Draw(t, "layout")),
				rapid.SampledFrom(names).Draw(t, "gland"), kind, value)
			if rapid.Float64Range(0, 1).Draw(t, "chance") < odd {
				i := rapid.IntRange(0, len(row)-1).Draw(t, "byte")
				row = row[:i] + rapid.SampledFrom([]string{"", "0", ",", "\n", "x", "\x00", "\xff", "\xca", "z", "\"", "9"}).Draw(t, "instead") + row[i+1:]
			}
			b.WriteString(row + end)
		}
		return b.String()
	})
}

func TestBatchesReadTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		through := rapid.SampledFrom([]func(io.Reader) io.Reader{
			func(r io.Reader) io.Reader { return r }, iotest.OneByteReader, iotest.HalfReader, iotest.DataErrReader,
		}).Draw(t, "through")
		agree(t, []byte(anyText().Draw(t, "text")), rapid.IntRange(1, 70).Draw(t, "batch"), through)
	})
}

// Long regular recordings, with something odd now and then.
func TestBatchesReadLongRecordings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layout := rapid.SampledFrom([]string{"2006-01-02T15:04:05.000Z07:00", "2006-01-02T15:04:05.000000Z07:00", time.RFC3339Nano}).Draw(t, "layout")
		gland := rapid.SampledFrom([]string{"g", "g01", "pump-1-drive-end", "a-gland-with-a-very-long-name"}).Draw(t, "gland")
		at := time.Unix(0, rapid.Int64Range(0, 4e18).Draw(t, "start")).UTC()
		seed, every := rapid.Uint64().Draw(t, "seed"), rapid.SampledFrom([]uint64{7, 100, 1000}).Draw(t, "something odd every")
		var b strings.Builder
		b.WriteString(Header + "\n")
		for range rapid.IntRange(0, 800).Draw(t, "rows") {
			seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX
			at = at.Add(time.Duration(seed>>33) % (3 * time.Second))
			rest := "drip,1"
			switch n := seed >> 40; {
			case n%every == 0:
				rest = []string{"drip,2", "drip,0", "temp,", "ref,NaN", "run,1", "temp,21.0625000001", "watch,0"}[seed>>50%7]
			case n%7 < 2:
				rest = fmt.Sprintf("%s,%g", []string{"temp", "ref"}[n%7], float64(300+seed>>45%500)/16)
			}
			fmt.Fprintf(&b, "%s,%s.%s\n", at.Format(layout), gland, rest)
		}
		agree(t, []byte(b.String()), rapid.IntRange(1, 1500).Draw(t, "batch"), func(r io.Reader) io.Reader { return r })
	})
}

// FuzzBatches: whatever the input, both ways to read give the same.
func FuzzBatches(f *testing.F) {
	f.Add([]byte(sample), 3)
	f.Add([]byte(Header+"\n2025-01-16T08:00:00.741Z,g01.drip,1\n2025-01-16T08:00:02.741Z,g01.drip,1\n2025-01-16T08:00:04Z,g01.temp,-29.1250\n"), 60)
	f.Fuzz(func(t *testing.T, data []byte, batch int) {
		agree(t, data, 1+max(batch, -batch)%100, func(r io.Reader) io.Reader { return r })
	})
}

// What is measured as fast must be what recordings look like: nothing of it may
// be left to the slow way.
func TestUsualRowsAreReadQuickly(t *testing.T) {
	for _, decimals := range []string{"", ".741", ".741512", ".741512301"} {
		var b strings.Builder
		b.WriteString(Header + "\n")
		at := time.Date(2025, 1, 16, 8, 0, 0, 0, time.UTC)
		for i := range 3000 {
			point := []string{"p1-de.drip,1", "p1-de.drip,2", "p1-de.temp,-29.1250", "a-gland-with-a-long-name.ref,16.5", "p2.run,0"}[i%5]
			fmt.Fprintf(&b, "%s%sZ,%s\n", at.Add(time.Duration(i)*7*time.Second).Format("2006-01-02T15:04:05"), decimals, point)
		}
		r, err := NewReader("f", strings.NewReader(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		// New points are for the slow way.
		if err := r.Read(NewBatch(5)); err != nil {
			t.Fatal(err)
		}
		quick := 0
		for {
			if n := r.quickRows(make([]reading.Row, 100)); n > 0 {
				quick += n
			} else if r.lines.fill(); r.lines.err != nil {
				break
			}
		}
		if quick < 2980 { // the last few lie too near the end
			t.Errorf("decimals %q: %d of 3000 rows are read quickly", decimals, quick)
		}
	}
}

func BenchmarkRead(b *testing.B) {
	var text bytes.Buffer
	w := NewWriter(&text)
	at := time.Date(2025, 1, 16, 8, 0, 0, 0, time.UTC)
	rows := 0
	for ; text.Len() < 1<<20; rows++ {
		r := reading.Reading{Point: reading.Point{Gland: "g01", Kind: reading.Drip}, Value: 1}
		if rows%7 > 4 {
			r.Point.Kind, r.Value = reading.Temp, 20+float64(rows%160)/16
		}
		if err := w.Write(r, at); err != nil {
			b.Fatal(err)
		}
		at = at.Add(1429 * time.Millisecond)
	}
	batch := NewBatch(512)
	b.SetBytes(int64(text.Len()))
	before := processorTime(b)
	for b.Loop() {
		r, err := NewReader("f", bytes.NewReader(text.Bytes()))
		for err == nil {
			err = r.Read(batch)
		}
	}
	b.ReportMetric(float64(processorTime(b)-before)/float64(b.N*rows), "cpu-ns/row")
}

// processorTime is what this process has used, which neighbours on a shared
// machine do not disturb as they do the clock.
func processorTime(tb testing.TB) time.Duration {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
