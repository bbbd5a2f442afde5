package simulated

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// noon is a start in the middle of a day.
const noon = 20_500*24*time.Hour + 12*time.Hour

func simulate(t testing.TB, s Station, length time.Duration) []reading.Reading {
	t.Helper()
	sim, err := NewSim(s, noon)
	if err != nil {
		t.Fatal(err)
	}
	var got []reading.Reading
	for {
		r := sim.Next()
		if r.At >= noon+length {
			return got
		}
		got = append(got, r)
	}
}

func one(g Gland) Station {
	g.ID = "a"
	return Station{Seed: 7, Glands: []Gland{g}}
}

// rate is drops a minute from from to to after noon.
func rate(got []reading.Reading, from, to time.Duration) float64 {
	drops := 0.0
	for _, r := range got {
		if r.Point.Kind == reading.Drip && r.At >= noon+from && r.At < noon+to {
			drops += r.Value
		}
	}
	return drops / (to - from).Minutes()
}

// meanOf is the mean of good readings from from to to after noon.
func meanOf(got []reading.Reading, k reading.Kind, from, to time.Duration) float64 {
	sum, n := 0.0, 0.0
	for _, r := range got {
		if r.Point.Kind == k && r.Quality.OK() && r.At >= noon+from && r.At < noon+to {
			sum, n = sum+r.Value, n+1
		}
	}
	return sum / n
}

func rise(got []reading.Reading, from, to time.Duration) float64 {
	return meanOf(got, reading.Temp, from, to) - meanOf(got, reading.Ref, from, to)
}

func TestRatesSharesAndWear(t *testing.T) {
	const long = 48 * time.Hour
	cases := []struct {
		name     string
		g        Gland
		from, to time.Duration
		want     float64
	}{
		{"as set", Gland{DPM: 60}, 0, long, 60},
		{"irregular", Gland{DPM: 30, Shape: 1}, 0, long, 30},
		{"none", Gland{}, 0, long, 0},
		{"splash", Gland{DPM: 60, SplashShare: 0.1}, 0, long, 66},
		{"missed", Gland{DPM: 60, MissShare: 0.1}, 0, long, 54},
		{"worn", Gland{DPM: 60, WearPerDay: 0.1}, 24 * time.Hour, long, 60 * 1.15},
		{"stream", Gland{DPM: 600}, 0, time.Hour, 300 / math.E},
		{"at rest", Gland{DPM: 60, Events: []Event{{Kind: Stop}}}, 0, long, 18},
		{"turning again", Gland{DPM: 60, Events: []Event{{Kind: Stop}, {At: time.Hour, Kind: Start}}}, time.Hour, long, 60},
		{"dead sensor", Gland{DPM: 60, Events: []Event{{Kind: DripSensorDead}}}, 0, long, 0},
		{"sensor back", Gland{DPM: 60, Events: []Event{{Kind: DripSensorDead, For: time.Hour}}}, time.Hour, long, 60},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := rate(simulate(t, one(c.g), c.to), c.from, c.to)
			near(t, "rate", got, c.want, 0.02)
		})
	}
}

func TestWeepEvents(t *testing.T) {
	for _, c := range []struct {
		kind EventKind
		from float64
		to   float64
	}{{Dry, 60, 4}, {Burn, 60, 2}, {Leak, 45, 150}, {Gush, 45, 280}, {Tighten, 90, 40}} {
		t.Run(string(c.kind), func(t *testing.T) {
			got := simulate(t, one(Gland{DPM: c.from, Events: []Event{{At: time.Hour, Kind: c.kind, ToDPM: c.to, Over: 10 * time.Minute}}}), 5*time.Hour)
			near(t, "before", rate(got, 0, time.Hour), c.from, 0.02)
			near(t, "half way", rate(got, 64*time.Minute, 66*time.Minute), (c.from+c.to)/2, 0.1)
			near(t, "after", rate(got, 70*time.Minute, 5*time.Hour), c.to, 0.03)
		})
	}
}

func TestHeatOfEvents(t *testing.T) {
	const hour = time.Hour
	at := func(k EventKind, dpm float64) Gland {
		even := Climate{LiquidC: 16, AmbientC: 16} // the air neither warms nor cools
		return Gland{DPM: 60, Climate: even, Events: []Event{{At: hour, Kind: k, ToDPM: dpm}}}
	}
	wet := 447.2 / 50.2 // W over W/K, the drips' share included
	cases := []struct {
		kind EventKind
		dpm  float64
		want float64 // rise over the liquid, °C
	}{
		{Dry, 0, 447.2 * 4 / 50},
		{Burn, 0, 447.2 * 4 * 2.5 / 50},
		{Leak, 150, 447.2 / 50.5},
		{Stop, 0, 0},
	}
	for _, c := range cases {
		t.Run(string(c.kind), func(t *testing.T) {
			got := simulate(t, one(at(c.kind, c.dpm)), 3*hour)
			near(t, "rise before", rise(got, 0, hour), wet, 0.005)
			after := rise(got, hour+10*time.Minute, 3*hour)
			if math.Abs(after-c.want) > 0.01*c.want+0.02 {
				t.Errorf("rise after is %g, want %g", after, c.want)
			}
		})
	}
}

func TestOpenTempSensorIsAQuality(t *testing.T) {
	got := simulate(t, one(Gland{DPM: 60, Events: []Event{{At: time.Minute, Kind: TempSensorOpen, For: time.Minute}}}), 4*time.Minute)
	open := 0
	for _, r := range got {
		inside := r.At >= noon+time.Minute && r.At < noon+2*time.Minute
		if bad := !r.Quality.OK(); bad != (inside && r.Point.Kind == reading.Temp) || bad && r.Value != 0 {
			t.Errorf("unexpected %v", r)
		} else if bad {
			open++
		}
	}
	if open != 6 {
		t.Errorf("%d open readings, want 6", open)
	}
}

func TestRunIsToldAtTheStartAndAtEachChange(t *testing.T) {
	got := simulate(t, one(Gland{Events: []Event{{At: 2 * time.Minute, Kind: Start}, {At: time.Minute, Kind: Stop}, {At: 3 * time.Minute, Kind: Start}}}), time.Hour)
	var told []float64
	var when []time.Duration
	for _, r := range got {
		if r.Point.Kind == reading.Run {
			told, when = append(told, r.Value), append(when, r.At-noon)
		}
	}
	if len(told) != 3 || told[0] != 1 || told[1] != 0 || told[2] != 1 || when[1] != time.Minute || when[2] != 2*time.Minute {
		t.Errorf("told %v at %v", told, when)
	}
}

func anyGland(t *rapid.T, id string) Gland {
	g := Gland{
		ID:          id,
		DPM:         rapid.Float64Range(0, mostDPM).Draw(t, "dpm"),
		Shape:       rapid.Float64Range(0.2, 50).Draw(t, "shape"),
		SplashShare: rapid.Float64Range(0, 0.5).Draw(t, "splash"),
		MissShare:   rapid.Float64Range(0, 0.5).Draw(t, "miss"),
		WearPerDay:  rapid.Float64Range(0, 1).Draw(t, "wear"),
	}
	kinds := []EventKind{Dry, Burn, Leak, Gush, Tighten, Stop, Start, DripSensorDead, TempSensorOpen}
	for range rapid.IntRange(0, 6).Draw(t, "events") {
		g.Events = append(g.Events, Event{
			At:    time.Duration(rapid.IntRange(-120, 600).Draw(t, "at")) * time.Second,
			Kind:  rapid.SampledFrom(kinds).Draw(t, "kind"),
			ToDPM: rapid.Float64Range(0, mostDPM).Draw(t, "to"),
			Over:  time.Duration(rapid.IntRange(0, 100).Draw(t, "over")) * time.Second,
			For:   time.Duration(rapid.IntRange(0, 100).Draw(t, "for")) * time.Second,
		})
	}
	return g
}

// Whatever happens: time goes forward, values are possible, a drop sensor is
// never silent for long, a gland does not depend on its neighbours' draws, and
// the same station gives the same readings.
func TestEveryStationIsOrderly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Station{Seed: rapid.Uint64().Draw(t, "seed"), Past: time.Minute, Glands: []Gland{anyGland(t, "a"), anyGland(t, "b")}}
		sim, err := NewSim(s, noon)
		if err != nil {
			t.Fatal(err)
		}
		again, _ := NewSim(s, noon)
		alone, _ := NewSim(Station{Seed: s.Seed, Past: s.Past, Glands: s.Glands[1:]}, noon)
		last := noon - s.Past
		spoke := map[string]time.Duration{"a": last, "b": last}
		for range 2000 {
			r := sim.Next()
			if other := again.Next(); other != r {
				t.Fatalf("%v, then %v", r, other)
			}
			if r.Point.Gland == "b" {
				if other := alone.Next(); other != r {
					t.Fatalf("%v, but %v without its neighbour", r, other)
				}
			}
			if r.At < last || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Fatalf("%v after %s", r, last)
			}
			last = r.At
			if r.Point.Kind == reading.Drip {
				if silent := r.At - spoke[r.Point.Gland]; silent > sensors.WatchEvery {
					t.Fatalf("%v after a silence of %s", r, silent)
				}
				spoke[r.Point.Gland] = r.At
			}
		}
	})
}

func TestConforms(t *testing.T) {
	sensortest.Conform(t, sensortest.Case{New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
		s, err := New(Station{Seed: 1, Past: time.Hour, Glands: []Gland{{ID: "a", DPM: 60}, {ID: "b", DPM: 0}}}, clock)
		if err != nil {
			t.Fatal(err)
		}
		return s, nil
	}})
}

func TestOnlyFittedPointsSpeak(t *testing.T) {
	for _, r := range simulate(t, one(Gland{DPM: 60, Kinds: []reading.Kind{reading.Temp}}), time.Hour) {
		if r.Point.Kind != reading.Temp {
			t.Fatalf("unexpected %v", r)
		}
	}
}

func TestValidateFindsEveryFault(t *testing.T) {
	bad := Station{Past: -1, Glands: []Gland{
		{ID: "a", DPM: -1, Shape: math.NaN(), SplashShare: 2, WearPerDay: 3},
		{ID: "a", Kinds: []reading.Kind{reading.Drip, reading.Drip}},
		{ID: "b c", TempEvery: time.Hour, Friction: Friction{Mu: 2}, Heat: Heat{DropML: 1}},
		{ID: "d", Events: []Event{{Kind: "explode"}, {Kind: Leak, ToDPM: 1e6}, {Kind: Stop, Over: -1}, {Kind: Stop, At: math.MaxInt64}}},
	}}
	err := bad.Validate()
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{
		"past -1ns", "gland a: weep -1; want 0 to 1000", "shape NaN", "share of splashes 2", "wear per day 3",
		"gland a: id used twice", "kind drip is unknown or given twice", `id "b c"`, "seconds between temperatures 3600",
		"friction coefficient 2", "heat capacity 0", `event "explode"; want one of`, "event leak to 1e+06 dpm", "no negative times", "event stop at ",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v\nlacks %q", err, want)
		}
	}
	if _, err := New(Station{}, nil); err == nil || !strings.Contains(err.Error(), "no glands") {
		t.Errorf("New of nothing = %v", err)
	}
}

func BenchmarkNext(b *testing.B) {
	for name, dpm := range map[string]float64{"60dpm": 60, "300dpm": 300} {
		b.Run(name, func(b *testing.B) {
			sim, err := NewSim(one(Gland{DPM: dpm}), noon)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				sim.Next()
			}
		})
	}
}
