package store

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"weepd/rules/reading"

	"pgregory.net/rapid"
)

// addReadings adds a second's spacing of drops and, each fifth, a temperature.
func addReadings(s *Store, from time.Duration, n int) []reading.Reading {
	var list []reading.Reading
	for i := range n {
		at := stampAt(from).Steady + time.Duration(i)*time.Second + time.Duration(i*i%7)*time.Microsecond
		list = append(list, reading.Reading{At: at, Point: reading.Point{Gland: "p1", Kind: reading.Drip}, Value: 1})
		if i%5 == 0 {
			list = append(list, reading.Reading{At: at, Point: reading.Point{Gland: "p1", Kind: reading.Temp}, Value: 41.0625 + float64(i%3)/16})
		}
	}
	s.AddReadings(list...)
	return list
}

func recorded(t testing.TB, s *Store, from, to time.Time) []Recorded {
	t.Helper()
	var out []Recorded
	err := s.Readings(t.Context(), from, to, func(r Recorded) error {
		out = append(out, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestReadingsComeBackAsFed(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	nan := math.Float64frombits(0x7ff8dead0000beef)
	odd := []reading.Reading{
		{At: stampAt(0).Steady, Point: reading.Point{Gland: "p2", Kind: reading.Temp}, Value: nan, Quality: reading.OpenCircuit},
		{At: stampAt(1).Steady, Point: reading.Point{Gland: "p2", Kind: reading.Run}, Value: 1, Quality: reading.Inferred},
		{At: stampAt(2).Steady, Point: reading.Point{Gland: "p2", Kind: reading.Drip}, Value: 0},
		{At: stampAt(3).Steady, Point: reading.Point{Gland: "p2", Kind: reading.Ref}, Value: math.Copysign(0, -1)},
		{At: stampAt(4).Steady, Point: reading.Point{Gland: "p2", Kind: reading.Drip}, Value: 20000, Quality: reading.Storm},
	}
	s.AddReadings(odd...)
	want := append(slices.Clone(odd), addReadings(s, time.Second, 9000)...)
	if err := s.Flush(t.Context(), stampAt(3*time.Hour)); err != nil {
		t.Fatal(err)
	}
	mustClose(t, s)
	s = mustOpen(t, dir, Options{})
	got := recorded(t, s, noon.Add(-time.Hour), noon.Add(9*time.Hour))
	if len(got) != len(want) {
		t.Fatalf("%d readings came back of %d", len(got), len(want))
	}
	for i, g := range got {
		w := want[i]
		same := g.At == w.At && g.Point == w.Point && g.Quality == w.Quality && math.Float64bits(g.Value) == math.Float64bits(w.Value)
		if !same || g.Wall.UnixNano() != int64(w.At) {
			t.Fatalf("reading %d is %+v, want %+v", i, g, w)
		}
	}
	part := recorded(t, s, noon.Add(time.Hour), noon.Add(time.Hour+10*time.Second))
	if len(part) != 12 || part[0].Wall.Before(noon.Add(time.Hour)) {
		t.Errorf("a part: %+v", part)
	}
	stop := errors.New("enough")
	if err := s.Readings(t.Context(), noon, noon.Add(time.Hour), func(Recorded) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("got %v", err)
	}
}

func TestCodecKeepsEveryReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []value
		at := time.Duration(rapid.Int64Range(-1<<62, 1<<61).Draw(t, "start"))
		for range rapid.IntRange(1, 50).Draw(t, "n") {
			at += time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "wait"))
			v := rapid.OneOf(rapid.SampledFrom([]float64{0, 1, 2, 21.5, 16384}), rapid.Float64(),
				rapid.Just(math.NaN()), rapid.Just(math.Inf(-1))).Draw(t, "value")
			list = append(list, value{at, v, reading.Quality(rapid.IntRange(0, 63).Draw(t, "quality"))})
		}
		got, err := decodeValues(encodeValues(list))
		same := slices.EqualFunc(got, list, func(a, b value) bool {
			return a.at == b.at && a.quality == b.quality && math.Float64bits(a.value) == math.Float64bits(b.value)
		})
		if err != nil || !same {
			t.Fatalf("%v came back as %v, %v", list, got, err)
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add(encodeValues([]value{{1, 1, 0}, {2, 41.5, 3}})[:8])
	f.Add(encodeAggregates([]aggregate{{5, 3, 1, 2, 3}, {9, 1, 4, 4, 4}}))
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, data := range [][]byte{body, seal(slices.Clone(body))} {
			if list, err := decodeValues(data); err == nil && len(list) > len(data) {
				t.Errorf("%d readings from %d bytes", len(list), len(data))
			}
			if list, err := decodeAggregates(data); err == nil && len(list) > len(data) {
				t.Errorf("%d minutes from %d bytes", len(list), len(data))
			}
		}
	})
}

// TestMinutesAgainstModel compares what is stored with plain arithmetic.
func TestMinutesAgainstModel(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	var second []float64 // the values of the second hour
	for i := range 180 * 60 {
		at := time.Duration(i) * time.Second
		v := 30 + 10*math.Sin(float64(i)/500)
		s.Observe("p1.dpm", noon.Add(at), v)
		s.Observe("p1.rise_c", noon.Add(at), math.NaN()) // unknown: no series
		if i/3600 == 1 {
			second = append(second, v)
		}
		if i%700 == 699 {
			if err := s.Flush(t.Context(), stampAt(at)); err != nil {
				t.Fatal(err)
			}
		}
	}
	hours, step, err := s.Samples(t.Context(), "p1.dpm", noon, noon.Add(3*time.Hour), 3)
	if err != nil || step != time.Hour || len(hours) != 3 {
		t.Fatalf("%v by %s, %v", hours, step, err)
	}
	checkHour(t, hours[1], second)
	minutes, step, err := s.Samples(t.Context(), "p1.dpm", noon, noon.Add(3*time.Hour), 1000)
	if err != nil || step != time.Minute || len(minutes) != 180 {
		t.Errorf("%d by %s, %v", len(minutes), step, err)
	}
	if none, _, err := s.Samples(t.Context(), "p1.rise_c", noon, noon.Add(time.Hour), 100); err != nil || none != nil {
		t.Errorf("an unknown series has %v, %v", none, err)
	}
}

func checkHour(t *testing.T, h Sample, values []float64) {
	t.Helper()
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	near := func(a, b float64) bool { return math.Abs(a-b) <= 0.5/scale+1e-9 }
	least, mean, most := slices.Min(values), sum/float64(len(values)), slices.Max(values)
	if h.Count != uint64(len(values)) || !near(h.Min, least) || !near(h.Mean, mean) || !near(h.Max, most) {
		t.Errorf("got %+v, want %v %v %v", h, least, mean, most)
	}
}

func TestClockSetBackKeepsBoth(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	addReadings(s, 0, 60)
	s.Observe("p1.dpm", noon, 10)
	now := stampAt(time.Minute)
	if err := s.Flush(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	// The wall clock is set back by a minute, the steady one goes on.
	addReadings(s, time.Minute, 60)
	s.Observe("p1.dpm", noon, 30)
	back := Stamp{Wall: noon.Add(time.Minute), Steady: stampAt(2 * time.Minute).Steady}
	if err := s.Flush(t.Context(), back); err != nil {
		t.Fatal(err)
	}
	if got := recorded(t, s, noon, noon.Add(time.Minute)); len(got) != 2*72 {
		t.Errorf("%d readings of both minutes", len(got))
	}
	list, _, err := s.Samples(t.Context(), "p1.dpm", noon, noon.Add(time.Hour), 100)
	if err != nil || len(list) != 1 || list[0].Min != 10 || list[0].Max != 30 || list[0].Mean != 20 {
		t.Errorf("%+v, %v", list, err)
	}
}
