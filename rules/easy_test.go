package rules

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// drawQuiet makes hours of a good gland's readings, with something odd now and
// then: this is where the easy way is taken and left.
func drawQuiet(t *rapid.T) []reading.Reading {
	var all []reading.Reading
	now := time.Duration(rapid.Int64Range(1, 1e18).Draw(t, "epoch"))
	put := func(kind reading.Kind, v float64, q reading.Quality) {
		all = append(all, reading.Reading{At: now, Point: reading.Point{Gland: "g0", Kind: kind}, Value: v, Quality: q})
	}
	if rapid.Bool().Draw(t, "run signal") {
		put(reading.Run, 1, reading.Good)
	}
	rise, every := 9.0, rapid.SampledFrom([]time.Duration{10 * time.Second, 10*time.Second + 3*time.Millisecond, 25 * time.Second}).Draw(t, "temp every")
	warm := now
	for range rapid.IntRange(1, 25).Draw(t, "stretches") {
		mean := rapid.SampledFrom([]float64{0.25, 0.9, 1.5, 2, 2, 2, 2.5, 3.5, 9}).Draw(t, "mean")
		spread := rapid.SampledFrom([]float64{0, 0.1, 0.5, 1}).Draw(t, "spread")
		drift := rapid.SampledFrom([]float64{0, 0, 0, 0.02, -0.02, 0.3}).Draw(t, "drift")
		seed := rapid.Uint64().Draw(t, "seed")
		for range rapid.SampledFrom([]int{1, 5, 60, 300}).Draw(t, "drops") {
			seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX
			u := float64(seed>>11) / (1 << 53)
			now += time.Duration(mean * (1 + spread*(-math.Log(1-u)-1)) * 1e9)
			put(reading.Drip, 1, reading.Good)
			for ; warm < now; warm = max(warm+every, now-every) {
				rise += drift
				put(reading.Temp, math.Round((20+rise+u/8)*16)/16, reading.Good)
				put(reading.Ref, 20+math.Round(u)/16, reading.Good)
			}
		}
		switch rapid.IntRange(0, 15).Draw(t, "odd") {
		case 0:
			put(reading.Run, float64(rapid.IntRange(0, 1).Draw(t, "run")), reading.Good)
		case 1:
			put(reading.Drip, float64(rapid.IntRange(0, 5).Draw(t, "n")), reading.Good)
		case 2:
			put(reading.Kind(rapid.IntRange(0, 3).Draw(t, "kind")), 0, rapid.SampledFrom([]reading.Quality{reading.Fault, reading.Inferred}).Draw(t, "quality"))
		case 3:
			now += time.Duration(rapid.Int64Range(0, 200e9).Draw(t, "pause"))
		case 4:
			put(reading.Drip, 1, reading.Good)
			now += time.Duration(rapid.Int64Range(0, 600e6).Draw(t, "splash"))
			put(reading.Drip, 1, reading.Good)
		case 5:
			put(reading.Temp, 20+rise+rapid.Float64Range(-12, 12).Draw(t, "jump"), reading.Good)
		case 6:
			put(reading.Repacked, float64(rapid.IntRange(0, 4000).Draw(t, "ago")), reading.Good)
		case 8:
			put(reading.Adjusted, float64(rapid.IntRange(-2, 2).Draw(t, "flats")), reading.Good)
		case 7:
			put(reading.Watch, float64(rapid.IntRange(0, 1).Draw(t, "watch")), reading.Good)
		}
	}
	return all
}

// A station that always takes the long way gives the same, to the last bit.
func TestEasyWayChangesNothing(t *testing.T) {
	easy, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		readings := drawQuiet(t)
		quick, long := propertyStation(t, 1), propertyStation(t, 1)
		for i, r := range readings {
			all++
			if quick.glands[0].easy {
				easy++
			}
			long.glands[0].easy = false
			a, b := feed(t, quick, r), feed(t, long, r)
			if !reflect.DeepEqual(a, b) {
				t.Fatalf("reading %d, %v: %+v, the long way %+v", i, r, a, b)
			}
			if a, b := inside(quick.glands[0]), inside(long.glands[0]); a != b {
				t.Fatalf("reading %d, %v:\n%s\nthe long way\n%s", i, r, a, b)
			}
			if i%50 == 0 || i == len(readings)-1 {
				a, _ := quick.Gland("g0")
				b, _ := long.Gland("g0")
				if fmt.Sprintf("%#v", a) != fmt.Sprintf("%#v", b) {
					t.Fatalf("reading %d, %v: %+v, the long way %+v", i, r, a, b)
				}
			}
		}
		if a, b := quick.TakeFresh(), long.TakeFresh(); fmt.Sprintf("%+v", values(a)) != fmt.Sprintf("%+v", values(b)) {
			t.Fatalf("upkeep got %+v, the long way %+v", values(a), values(b))
		}
	})
	if easy < all/10 { // how many is up to the dice
		t.Errorf("only %d of %d readings were easy: little is shown", easy, all)
	}
}

// However readings are batched, the same comes out, and the same is known.
func TestBatchingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		glands := rapid.IntRange(1, 2).Draw(t, "glands")
		readings := drawQuiet(t)
		if glands > 1 {
			readings = drawReadings(t, glands)
		}
		single, batched := propertyStation(t, glands), propertyStation(t, glands)
		var a, b []Transition
		for _, r := range readings {
			a = append(a, feed(t, single, r)...)
		}
		rows, places := numbered(batched, readings)
		for len(rows) > 0 {
			batch := rows[:rapid.IntRange(1, min(len(rows), 400)).Draw(t, "batch")]
			n, out := batched.FeedRows(batch, places)
			if n < len(batch) && len(out) == 0 {
				t.Fatalf("%d of %d rows taken, and no transition", n, len(batch))
			}
			b, rows = append(b, out...), rows[n:]
		}
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("%+v\nin batches\n%+v", a, b)
		}
		for i := range single.glands {
			if a, b := inside(single.glands[i]), inside(batched.glands[i]); a != b {
				t.Fatalf("\n%s\nin batches\n%s", a, b)
			}
		}
	})
}

// In stretches the same comes out too, wherever they are cut.
func TestStretchesChangeNothing(t *testing.T) {
	stretched, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		readings := drawQuiet(t)
		without := rapid.SampledFrom([]reading.Kind{reading.Run, reading.Run, reading.Temp, reading.Ref}).Draw(t, "left out")
		readings = slices.DeleteFunc(readings, func(r reading.Reading) bool { return r.Point.Kind == without })
		single, many := propertyStation(t, 1), propertyStation(t, 1)
		for len(readings) > 0 {
			s := stretchOf(readings[:rapid.IntRange(1, min(len(readings), 900)).Draw(t, "longest")])
			var a, b, out []Transition
			for at := (reading.Cursor{}); at != s.End(); {
				at, out = many.FeedStretch(0, &s, at)
				b = append(b, out...)
			}
			n := max(1, s.Rows())
			for _, r := range readings[:n] {
				a = append(a, feed(t, single, r)...)
			}
			if s.Rows() == 0 {
				b = feed(t, many, readings[0])
			}
			if !reflect.DeepEqual(a, b) {
				t.Fatalf("%+v\nin stretches\n%+v", a, b)
			}
			if a, b := inside(single.glands[0]), inside(many.glands[0]); a != b {
				t.Fatalf("\n%s\nin stretches\n%s", a, b)
			}
			stretched, all, readings = stretched+s.Rows(), all+n, readings[n:]
		}
	})
	if stretched < all/2 { // how many is up to the dice
		t.Errorf("only %d of %d readings came in stretches: little is shown", stretched, all)
	}
}

// stretchOf is the stretch that readings begin with; it may be empty.
func stretchOf(readings []reading.Reading) (s reading.Stretch) {
	last := readings[0].At
	for _, r := range readings {
		drip := r.Point.Kind == reading.Drip && r.Value == 1
		warm := r.Point.Kind == reading.Temp || r.Point.Kind == reading.Ref
		if r.Quality != reading.Good || !drip && !warm || r.At-last > reading.MostApart || r.At < last {
			break
		}
		last = r.At
		if drip {
			s.Drops = append(s.Drops, r.At)
		} else {
			s.Warms = append(s.Warms, reading.Warm{At: r.At, C: r.Value, After: int32(len(s.Drops)), Kind: r.Point.Kind})
		}
	}
	return s
}

// numbered gives readings as rows, with the places of their points.
func numbered(s *Station, readings []reading.Reading) (rows []reading.Row, places []int) {
	numbers := make(map[reading.Point]uint16)
	for _, r := range readings {
		if _, known := numbers[r.Point]; !known {
			numbers[r.Point] = uint16(len(places))
			places = append(places, s.Place(r.Point.Gland))
		}
		rows = append(rows, reading.Row{At: r.At, Value: r.Value, Point: numbers[r.Point], Kind: r.Point.Kind, Quality: r.Quality})
	}
	return rows, places
}

// FeedRows leaves a row of a gland that it does not know, and all after it.
func TestRowsOfUnknownGlandsAreLeft(t *testing.T) {
	s, _ := quietStation(t, 1)
	at := 1_750_000_000 * time.Second
	rows := []reading.Row{{At: at, Value: 1}, {At: at, Value: 1, Point: 1}, {At: at, Value: 1}}
	places := []int{s.Place("p0"), s.Place("p9")}
	if n, out := s.FeedRows(rows, places); n != 1 || out != nil || places[1] != NoPlace {
		t.Errorf("%d rows taken, %v", n, out)
	}
	if state, _ := s.Gland("p0"); state.Drops != 1 {
		t.Errorf("%d drops", state.Drops)
	}
}

// inside is what a gland holds beside its detector, its deadlines and what they
// are made of.
func inside(g *gland) string {
	return fmt.Sprintf("%+v", []any{g.drip, g.stream, g.shaft, g.rise, g.count, g.runIn, g.alarms, g.early, g.care.meter})
}

// values are what is fresh, without pointers.
func values(list []Fresh) (out []any) {
	for _, f := range list {
		if f.Bucket != nil {
			out = append(out, *f.Bucket)
		}
		if f.Step != nil {
			out = append(out, *f.Step)
		}
		if f.RunIn != nil {
			out = append(out, *f.RunIn)
		}
	}
	return out
}
