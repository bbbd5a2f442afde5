package rules

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// A calm station says nothing by the passing of time before it said it would, and
// nothing within a second of ordinary readings: so who waits a second with them is no
// later. Only drops much faster than leaking and what people do bring more at once.
func TestCalmIsFollowedByNothing(t *testing.T) {
	calms, alarms := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := propertyStation(t, 1)
		type look struct{ at, until time.Duration }
		var calm []look
		var lately []reading.Reading
		for _, r := range drawQuiet(t) {
			lately = append(lately, r)
			for _, tr := range feed(t, s, r) {
				alarms++
				upkeeps := tr.Condition == AdjustmentIneffective || tr.Condition == RepackDue
				for _, c := range calm {
					if tr.At < c.until && tr.At-c.at <= time.Second && !upkeeps && ordinary(lately, c.at, tr.At) {
						t.Fatalf("calm at %s until %s, %s after it: %+v", c.at, c.until, tr.At-c.at, tr)
					}
				}
			}
			if len(calm) > 64 {
				calm, lately = calm[32:], lately[len(lately)-32:]
			}
			if until, is := s.Calm(); is && until > s.now { // a gap may have passed over a deadline
				calms++
				calm = append(calm, look{s.now, until})
			}
		}
	})
	if calms < 100 || alarms == 0 {
		t.Errorf("%d looks were calm, %d transitions came", calms, alarms)
	}
}

// ordinary reports readings in (from, to] that any gland may give in a second, up to
// twice the drops that count as leaking.
func ordinary(list []reading.Reading, from, to time.Duration) bool {
	const fast = time.Minute / 120
	drop := time.Duration(-1 << 62)
	temps := 0
	for _, r := range list {
		if r.At > to {
			break
		}
		within := r.At > from
		if r.Point.Kind == reading.Drip && r.Value > 0 {
			if within && (r.At-drop < fast || r.Value > 1) {
				return false
			}
			drop = r.At
		}
		if within && r.Point.Kind == reading.Temp {
			if temps++; temps > 1 {
				return false
			}
		}
		if within && (r.Quality != reading.Good || r.Point.Kind.Mark()) {
			return false
		}
	}
	return true
}

// Whoever asks whether all is calm changes nothing by it, and a gland with anything
// in the air is not calm.
func TestAskingForCalmChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, 2)
		plain, asked := propertyStation(t, 2), propertyStation(t, 2)
		var a, b []Transition
		for _, r := range readings {
			a = append(a, feed(t, plain, r)...)
			b = append(b, feed(t, asked, r)...)
			_, calm := asked.Calm()
			for _, g := range asked.glands {
				for c := range g.alarms {
					upkeeps := Condition(c) == AdjustmentIneffective || Condition(c) == RepackDue
					if calm && (g.alarms[c].pending || g.alarms[c].active && !upkeeps) {
						t.Fatalf("calm with %s of %s %+v", Condition(c), g.cfg.ID, g.alarms[c])
					}
				}
			}
		}
		if len(a) != len(b) {
			t.Fatalf("%d transitions, %d when asked", len(a), len(b))
		}
		for i := range a {
			if a[i] != b[i] {
				t.Fatalf("transition %d: %+v, when asked %+v", i, a[i], b[i])
			}
		}
	})
}

func TestOneGlandInTheAirEndsTheCalmOfAll(t *testing.T) {
	s, ids := quietStation(t, 3)
	at := 1_750_000_000 * time.Second
	second := func(put func(id string, k reading.Kind, v float64)) {
		at += time.Second
		for _, id := range ids {
			put(id, reading.Drip, float64(at/time.Second%2))
			if at%(10*time.Second) == 0 {
				put(id, reading.Temp, 30+float64(at/time.Second%3)/16)
				put(id, reading.Ref, 20+float64(at/time.Second%7)/16)
			}
		}
	}
	plain := func(id string, k reading.Kind, v float64) {
		mustFeed(t, s, reading.Reading{At: at, Point: reading.Point{Gland: id, Kind: k}, Value: v})
	}
	for range 600 {
		second(plain)
	}
	if until, calm := s.Calm(); !calm || until < at+5*time.Second || until > at+time.Hour {
		t.Fatalf("a quiet station: calm %v for %s", calm, until-at)
	}
	hot := func(id string, k reading.Kind, v float64) {
		if k == reading.Temp && id == ids[1] {
			v += 13.5 // of 25 °C, when it has 10
		}
		plain(id, k, v)
	}
	for range 60 {
		second(hot)
	}
	if _, calm := s.Calm(); calm {
		t.Error("calm with a rise of 23.5 of 25 °C")
	}
}
