package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// The model of a time stamp is the standard library's parser, which also takes
// some stamps that RFC 3339 does not have.
func TestStampsAgreeWithTheStandardLibrary(t *testing.T) {
	var p stampParser
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(goodStamp(), nearStamp()).Draw(t, "stamp")
		ns, ok := p.parse([]byte(s))
		want, err := time.Parse(time.RFC3339Nano, s)
		if ok && (err != nil || ns != want.UnixNano()) {
			t.Fatalf("%s: got %d, want %d, %v", s, ns, want.UnixNano(), err)
		}
		if strict := err == nil && want.Year() >= firstYear && want.Year() <= lastYear; strict && !ok && isStrict(s) {
			t.Fatalf("%s is refused", s)
		}
	})
}

func goodStamp() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		ns := rapid.Int64Range(int64(24*time.Hour), math.MaxInt64-int64(400*24*time.Hour)).Draw(t, "ns")
		zone := time.FixedZone("", rapid.IntRange(-23*60-59, 23*60+59).Draw(t, "minutes")*60)
		layout := rapid.SampledFrom([]string{time.RFC3339, time.RFC3339Nano, "2006-01-02T15:04:05.000Z07:00"}).Draw(t, "layout")
		return time.Unix(0, ns).In(zone).Format(layout)
	})
}

// nearStamp changes one byte of a good stamp.
func nearStamp() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		b := []byte(goodStamp().Draw(t, "base"))
		b[rapid.IntRange(0, len(b)-1).Draw(t, "at")] = rapid.SampledFrom([]byte("0123456789-:.,TZ+ x\x00")).Draw(t, "byte")
		return string(b)
	})
}

// isStrict leaves out what time.Parse takes beyond RFC 3339 (decimal commas,
// more than nine decimals, offsets of 24 hours and 60 minutes).
func isStrict(s string) bool {
	if strings.Contains(s, ",") || len(s) < 20 {
		return false
	}
	zone := s[19:]
	if i := strings.IndexAny(zone, "Z+-"); i >= 0 {
		if i > 10 {
			return false
		}
		zone = zone[i:]
	}
	return zone == "Z" || len(zone) == 6 && zone[1:3] < "24" && zone[4:] < "60"
}

func TestNumbersAgreeWithStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(
			rapid.StringMatching(`-?[0-9]{1,6}(\.[0-9]{0,6})?`),
			rapid.StringMatching(`[+-]?[0-9]{0,20}\.?[0-9]{0,20}([eE][+-]?[0-9]{1,3})?`),
			rapid.Map(rapid.Float64(), func(f float64) string { return strconv.FormatFloat(f, 'g', -1, 64) }),
			rapid.StringMatching(`[0-9a-fA-FxXpPiInN_.+\-]{1,6}`),
		).Draw(t, "number")
		got, ok := parseNumber([]byte(s))
		want, err := strconv.ParseFloat(s, 64)
		if s == "" {
			want, err = math.NaN(), nil
		}
		plain := s == "" || strings.EqualFold(s, "nan") || !strings.ContainsAny(s, "xXpPiInN_")
		if ok != (err == nil && plain) {
			t.Fatalf("%q: ok = %t, strconv: %g, %v", s, ok, want, err)
		}
		if ok && math.Float64bits(got) != math.Float64bits(want) && !math.IsNaN(want) {
			t.Fatalf("%q: got %g, want %g", s, got, want)
		}
	})
}

func TestNumbersAreWrittenAsStrconvDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.OneOf(
			rapid.Float64(),
			rapid.Map(rapid.Int64Range(-200_000_000, 2_000_000_000), func(n int64) float64 { return float64(n) / 1e4 }),
			rapid.Map(rapid.IntRange(-800, 2000), func(n int) float64 { return float64(n) / 16 }),
			rapid.Map(rapid.IntRange(0, 12), func(n int) float64 { return float64(n) }),
		).Draw(t, "v")
		if got, want := string(appendNumber(nil, v)), strconv.FormatFloat(v, 'f', -1, 64); got != want {
			t.Fatalf("got %s, want %s", got, want)
		}
	})
}

// The model of a written stamp is the standard library's.
func TestStampsAreWrittenAsTheStandardLibraryDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w stampWriter
		ns := rapid.Int64Range(0, lastSecond*1e9).Draw(t, "start")
		for range rapid.IntRange(1, 5).Draw(t, "stamps") {
			unit := rapid.SampledFrom([]int64{1, 1e3, 1e6, 1e8, 1e9, 60e9}).Draw(t, "unit")
			ns = ns / unit * unit
			layout := "2006-01-02T15:04:05.000000000Z07:00"
			switch {
			case ns%1e9 == 0:
				layout = time.RFC3339
			case ns%1e6 == 0:
				layout = "2006-01-02T15:04:05.000Z07:00"
			case ns%1e3 == 0:
				layout = "2006-01-02T15:04:05.000000Z07:00"
			}
			if got, want := string(w.append(nil, ns)), time.Unix(0, ns).UTC().Format(layout); got != want {
				t.Fatalf("got %s, want %s", got, want)
			}
			ns += rapid.Int64Range(0, 3*60e9).Draw(t, "step")
		}
	})
}

func anyReading() *rapid.Generator[reading.Reading] {
	return rapid.Custom(func(t *rapid.T) reading.Reading {
		r := reading.Reading{Point: reading.Point{
			Gland: rapid.StringMatching(`[A-Za-z0-9_-]{1,32}`).Draw(t, "gland"),
			Kind:  reading.Kind(rapid.IntRange(0, int(reading.Kinds)-1).Draw(t, "kind")),
		}}
		if rapid.IntRange(0, 3).Draw(t, "good") == 0 {
			r.Quality = rapid.SampledFrom([]reading.Quality{reading.Fault, reading.Storm, reading.NoAnswer}).Draw(t, "quality")
			return r
		}
		switch r.Point.Kind {
		case reading.Drip:
			r.Value = float64(rapid.IntRange(0, MaxDrops).Draw(t, "drops"))
		case reading.Run:
			r.Value = float64(rapid.IntRange(0, 1).Draw(t, "run"))
		default:
			r.Value = rapid.Float64().Draw(t, "value")
		}
		return r
	})
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var file bytes.Buffer
		w := NewWriter(&file)
		at := time.Unix(0, rapid.Int64Range(0, int64(9e18)).Draw(t, "start")).UTC()
		var want []reading.Reading
		for _, r := range rapid.SliceOf(anyReading()).Draw(t, "readings") {
			at = at.Add(time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "step")))
			if err := w.Write(r, at); err != nil {
				t.Fatal(err)
			}
			r.At = time.Duration(at.UnixNano())
			if !r.Quality.OK() {
				r.Quality, r.Value = reading.Fault, 0
			}
			want = append(want, r)
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		r, err := NewReader("f", &file)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := readAll(r); err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("got %v, %v\nwant %v", got, err, want)
		}
	})
}

func TestWriterRefusesWhatCannotBeRead(t *testing.T) {
	now := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	drip := reading.Point{Gland: "a", Kind: reading.Drip}
	cases := map[string]struct {
		r  reading.Reading
		at time.Time
	}{
		"goes back":      {reading.Reading{Point: drip}, now.Add(-1)},
		"1969":           {reading.Reading{Point: drip}, time.Unix(-1, 0)},
		"2262":           {reading.Reading{Point: drip}, time.Date(2262, 1, 1, 0, 0, 0, 0, time.UTC)},
		"gland":          {reading.Reading{Point: reading.Point{Gland: "a,b"}}, now},
		"kind":           {reading.Reading{Point: reading.Point{Gland: "a", Kind: reading.Kinds}}, now},
		"half a drop":    {reading.Reading{Point: drip, Value: 0.5}, now},
		"not a number":   {reading.Reading{Point: reading.Point{Gland: "a", Kind: reading.Temp}, Value: math.NaN()}, now},
		"infinite":       {reading.Reading{Point: reading.Point{Gland: "a", Kind: reading.Ref}, Value: math.Inf(-1)}, now},
		"shaft half on":  {reading.Reading{Point: reading.Point{Gland: "a", Kind: reading.Run}, Value: 0.5}, now},
		"inferred, 0.25": {reading.Reading{Point: drip, Value: 0.25, Quality: reading.Inferred}, now},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var file bytes.Buffer
			w := NewWriter(&file)
			if err := w.Write(reading.Reading{Point: drip}, now); err != nil {
				t.Fatal(err)
			}
			if err := w.Write(c.r, c.at); err == nil {
				t.Error("no error")
			}
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			if want := Header + "\n2026-03-01T08:00:00Z,a.drip,0\n"; file.String() != want {
				t.Errorf("got %q, want %q", file.String(), want)
			}
		})
	}
}

// FuzzReader: no input makes it panic, rows are in order and in range, and
// every error says where and what to do.
func FuzzReader(f *testing.F) {
	f.Add([]byte(sample))
	f.Add([]byte("\xef\xbb\xbf" + strings.ReplaceAll(sample, "\n", "\r\n")))
	f.Add([]byte("\"time\",\"point\",\"value\"\n\"2026-03-01T08:00:00Z\",\"a.temp\",\"1e2\"\n"))
	f.Add([]byte("\x1f\x8b\x08\x00\x00\x00\x00\x00"))
	f.Add([]byte("\x28\xb5\x2f\xfd\x24\x00\x01\x00\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewReader("f", bytes.NewReader(data))
		if err != nil {
			checkError(t, err)
			return
		}
		var last time.Duration
		for n := 0; ; n++ {
			row, err := r.Next()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				checkError(t, err)
				break
			}
			if n > 0 && row.At < last {
				t.Fatalf("time goes back: %v", row)
			}
			last = row.At
			if _, err := reading.ParsePoint(row.Point.String()); err != nil || math.IsNaN(row.Value) || !inRange(row.Point.Kind, row.Value) {
				t.Fatalf("%v: %v", row, err)
			}
		}
		if err := r.Close(); err != nil {
			checkError(t, err)
		}
	})
}

func checkError(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); !strings.HasPrefix(s, "f:") || !strings.Contains(s, "; ") {
		t.Errorf("%q: want FILE:LINE: what; what to do", s)
	}
}
