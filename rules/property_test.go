package rules

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// drawReadings makes an hour or so of anything: drops in bursts and silences,
// temperatures that wander, jump or fail, a shaft that starts and stops, gaps.
func drawReadings(t *rapid.T, glands int) []reading.Reading {
	var all []reading.Reading
	now := time.Duration(rapid.Int64Range(0, 1e18).Draw(t, "epoch"))
	temps := make([]float64, glands)
	all = append(all, reading.Reading{At: now, Point: reading.Point{Gland: "g0", Kind: reading.Run}, Value: 1})
	for range rapid.IntRange(1, 120).Draw(t, "stretches") {
		g := rapid.IntRange(0, glands-1).Draw(t, "gland")
		id := fmt.Sprintf("g%d", g)
		put := func(kind reading.Kind, v float64, q reading.Quality) {
			all = append(all, reading.Reading{At: now, Point: reading.Point{Gland: id, Kind: kind}, Value: v, Quality: q})
		}
		switch rapid.IntRange(0, 9).Draw(t, "what") {
		case 0, 1, 2, 3:
			every := time.Duration(rapid.Int64Range(0, 12e9).Draw(t, "every"))
			for range rapid.IntRange(1, 60).Draw(t, "drops") {
				now += every
				put(reading.Drip, float64(rapid.SampledFrom([]int{1, 1, 1, 1, 0, 2, 7}).Draw(t, "n")), reading.Good)
			}
		case 4, 5, 6:
			temps[g] += rapid.Float64Range(-8, 10).Draw(t, "change")
			for range rapid.IntRange(1, 12).Draw(t, "temps") {
				now += 10 * time.Second
				put(reading.Temp, 30+temps[g], reading.Good)
				put(reading.Ref, 20, reading.Good)
			}
		case 7:
			put(reading.Run, float64(rapid.IntRange(0, 1).Draw(t, "run")), reading.Good)
		case 8:
			put(rapid.SampledFrom([]reading.Kind{reading.Drip, reading.Temp, reading.Ref, reading.Run}).Draw(t, "kind"),
				math.NaN(), rapid.SampledFrom([]reading.Quality{reading.Fault, reading.NoAnswer, reading.Storm}).Draw(t, "bad"))
		case 9:
			now += time.Duration(rapid.Int64Range(0, 400e9).Draw(t, "gap"))
		}
	}
	return all
}

func propertyStation(t *rapid.T, glands int) *Station {
	var cfg Config
	for i := range glands {
		g := testGland()
		g.ID = fmt.Sprintf("g%d", i)
		g.Timing.OnDelay = time.Duration(i) * 7 * time.Second
		cfg.Glands = append(cfg.Glands, g)
	}
	s, err := NewStation(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// However often the core is woken in between, the same comes out: replay, which
// never wakes it, is the same as live.
func TestWakingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, 2)
		plain, woken := propertyStation(t, 2), propertyStation(t, 2)
		var a, b []Transition
		last := readings[0].At
		for _, r := range readings {
			if r.At-last <= MaxSilence {
				for range rapid.IntRange(0, 3).Draw(t, "wakes") {
					at := last + time.Duration(rapid.Float64Range(0, 1).Draw(t, "share")*float64(r.At-last))
					b = append(b, woken.Advance(at)...)
				}
			}
			last = r.At
			a = append(a, feed(t, plain, r)...)
			b = append(b, feed(t, woken, r)...)
		}
		if len(a) != len(b) {
			t.Fatalf("%d transitions, %d when woken", len(a), len(b))
		}
		for i := range a {
			if a[i] != b[i] {
				t.Fatalf("transition %d: %+v, when woken %+v", i, a[i], b[i])
			}
		}
	})
}

// What comes out is in order of time, and each condition turns active and
// cleared by turns; the core never wants waking in the past.
func TestTransitionsAreInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := propertyStation(t, 3)
		active := map[string]bool{}
		last := time.Duration(0)
		for _, r := range drawReadings(t, 3) {
			for _, tr := range feed(t, s, r) {
				key := tr.Gland + tr.Condition.String()
				if tr.At < last || tr.At > r.At || active[key] == tr.Active || tr.Message == "" {
					t.Fatalf("at %v after %v: %+v", r.At, last, tr)
				}
				last, active[key] = tr.At, tr.Active
			}
			if next, ok := s.Next(); ok && next <= r.At {
				t.Fatalf("at %v the core wants waking at %v", r.At, next)
			}
			checkState(t, s, active)
			if s.stuck > 0 {
				t.Fatalf("at %v a gland that was woken wants waking still", r.At)
			}
		}
	})
}

func checkState(t *rapid.T, s *Station, active map[string]bool) {
	for _, id := range s.GlandIDs() {
		state, _ := s.Gland(id)
		shown := map[Condition]bool{}
		for _, a := range state.Alarms {
			shown[a.Condition] = true
		}
		for c := range Conditions {
			if shown[c] != active[id+c.String()] {
				t.Fatalf("%s %s: shown %v", id, c, shown[c])
			}
		}
		if w := state.Weep; w.Known && !(w.LowDPM <= w.DPM && w.DPM <= w.HighDPM) {
			t.Fatalf("%s: weep %+v", id, w)
		}
	}
}

func feed(t *rapid.T, s *Station, r reading.Reading) []Transition {
	out, err := s.Feed(r)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Readings of one gland never touch another's alarms.
func TestGlandsAreApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, 2)
		both, alone := propertyStation(t, 2), propertyStation(t, 2)
		var a, b []Transition
		for i, r := range readings {
			for _, tr := range feed(t, both, r) {
				if tr.Gland == "g0" {
					a = append(a, tr)
				}
			}
			switch {
			case r.Point.Gland == "g0":
				b = append(b, feed(t, alone, r)...)
			case i == 0 || readings[i-1].At < r.At: // the station is watched all the same
				b = append(b, alone.Advance(r.At)...)
			}
		}
		if fmt.Sprint(a) != fmt.Sprint(b) {
			t.Fatalf("with the other gland\n%v\nalone\n%v", a, b)
		}
	})
}
