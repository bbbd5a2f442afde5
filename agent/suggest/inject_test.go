package suggest

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// stretchOf has a drop every so many seconds, and temperatures.
func stretchOf(seconds float64) *stretch {
	s := &stretch{from: start}
	for at := 0.0; at < (leadTime + afterTime).Seconds(); at += seconds {
		s.rows = append(s.rows, reading.Reading{At: start + time.Duration(at*1e9), Point: point(reading.Drip), Value: 1})
	}
	for at := time.Duration(0); at < leadTime+afterTime; at += time.Minute {
		s.rows = append(s.rows, reading.Reading{At: start + at, Point: point(reading.Temp), Value: 26})
	}
	return s
}

// Whatever change of the weep is injected: nothing before the onset moves, rows are
// in order, and after it the weep is the one asked for.
func TestInjectedWeep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := stretchOf(rapid.Float64Range(4, 30).Draw(t, "interval"))
		c := change{rapid.SampledFrom([]Limit{Dry, Leak}).Draw(t, "limit"), rapid.Float64Range(0.5, 40).Draw(t, "to")}
		before, after, last, lead := 0.0, 0.0, time.Duration(0), 0.0
		for _, r := range s.rows {
			if r.Point.Kind == reading.Drip && r.At < s.onset() {
				lead++
			}
		}
		for _, r := range s.inject(c) {
			if r.At < last || r.At >= s.end() {
				t.Fatalf("row at %s after %s, end %s", r.At, last, s.end())
			}
			last = r.At
			switch {
			case r.Point.Kind == reading.Temp && r.Value != 26:
				t.Fatalf("temperature %g", r.Value)
			case r.Point.Kind != reading.Drip:
			case r.At < s.onset():
				before += r.Value
			case r.At < s.lasts(c):
				after += r.Value
			}
		}
		want := c.size * (s.lasts(c) - s.onset()).Minutes()
		if before != lead || math.Abs(after-want) > 2 {
			t.Fatalf("%g drops before, want %g; %g after, want %.1f", before, lead, after, want)
		}
	})
}

func TestInjectedStopIsWatched(t *testing.T) {
	s := stretchOf(15)
	rows := 0
	for _, r := range s.inject(change{Dry, 0}) {
		if r.At >= s.onset() && r.Point.Kind == reading.Drip {
			rows++
			if r.Value != 0 {
				t.Fatal("a drop after the stop")
			}
		}
	}
	if rows != int(afterTime/watchRow) {
		t.Errorf("%d rows say that it was watched", rows)
	}
}

func TestInjectedRise(t *testing.T) {
	s := stretchOf(15)
	for _, r := range s.inject(change{Rise, 2}) {
		want := 26 + 2*max(0, (r.At-s.onset()).Minutes())
		if r.Point.Kind == reading.Temp && math.Abs(r.Value-want) > 1e-9 {
			t.Fatalf("%g at %s, want %g", r.Value, r.At-s.onset(), want)
		}
	}
}

// Stretches do not overlap, hold only quiet blocks, and are spread out.
func TestStretches(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		quiet := map[int64]bool{}
		var blocks []block
		for i := range int64(rapid.IntRange(0, 600).Draw(t, "blocks")) {
			if rapid.IntRange(0, 60).Draw(t, "alarm") > 0 {
				quiet[i] = true
				blocks = append(blocks, block{index: i})
			}
		}
		end := time.Duration(0)
		list := stretches(blocks)
		if len(list) > mostStretches {
			t.Fatalf("%d stretches", len(list))
		}
		for _, s := range list {
			if s.from < end {
				t.Fatal("they overlap")
			}
			end = s.end()
			for at := s.from; at < end; at += blockTime {
				if !quiet[int64(at/blockTime)] {
					t.Fatalf("block at %s is not quiet", at)
				}
			}
		}
	})
}
