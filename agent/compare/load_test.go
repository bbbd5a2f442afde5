package compare

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules"
)

// raised makes alarms of p1 dry that each last a second.
func raised(seconds ...int) *Spans {
	s := &Spans{}
	for _, at := range seconds {
		s.put("p1", rules.Dry, time.Duration(at)*time.Second, time.Second)
	}
	return s
}

func (s *Spans) put(gland string, c rules.Condition, at, length time.Duration) {
	s.Transition(rules.Transition{At: at, Gland: gland, Condition: c, Active: true})
	s.Transition(rules.Transition{At: at + length, Gland: gland, Condition: c})
}

// within counts the alarms of (at - Period, at].
func within(seconds []int, at time.Duration) (n int) {
	for _, s := range seconds {
		if t := time.Duration(s) * time.Second; t <= at && t > at-Period {
			n++
		}
	}
	return n
}

// Floods, worst period and chattering against going through every second.
func TestLoadAgainstEverySecond(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var seconds []int
		at := 0
		for range rapid.IntRange(0, 60).Draw(t, "alarms") {
			at += rapid.OneOf(rapid.IntRange(2, 40), rapid.IntRange(2, 400)).Draw(t, "gap")
			seconds = append(seconds, at)
		}
		l := raised(seconds...).load(time.Hour)
		worst, floods, inFlood, flooded := 0, 0, false, 0
		chattering := map[int]bool{}
		for now := 0; now <= at+1200; now++ {
			n := within(seconds, time.Duration(now)*time.Second)
			worst = max(worst, n)
			if !inFlood && n > 10 {
				inFlood = true
				floods++
			}
			if inFlood && n < 5 {
				inFlood = false
			}
			if inFlood {
				flooded++
			}
			var minute []int
			for _, s := range seconds {
				if s <= now && s > now-60 {
					minute = append(minute, s)
				}
			}
			for _, s := range minute {
				if len(minute) >= 3 {
					chattering[s] = true
				}
			}
		}
		alarms := 0
		for _, c := range l.Chattering {
			alarms += c.Alarms
		}
		if l.WorstPeriod != worst || l.Floods != floods || int(l.FloodSeconds) != flooded || alarms != len(chattering) {
			t.Fatalf("worst %d, floods %d, %g s, chattering %d; want %d, %d, %d s, %d (alarms at %v)",
				l.WorstPeriod, l.Floods, l.FloodSeconds, alarms, worst, floods, flooded, len(chattering), seconds)
		}
	})
}

// The figures of the standard at their edges (IEC 62682, ISA-18.2, from memory).
func TestLoadAtTheEdges(t *testing.T) {
	eleven := []int{0, 59, 118, 177, 236, 295, 354, 413, 472, 531, 590}
	if l := raised(eleven...).load(time.Hour); l.Floods != 1 || l.WorstPeriod != 11 {
		t.Errorf("eleven in ten minutes: %+v", l)
	}
	if l := raised(eleven[:10]...).load(time.Hour); l.Floods != 0 || l.PerPeriod != 10.0/6 {
		t.Errorf("ten in ten minutes: %+v", l)
	}
	if l := raised(0, 30, 59).load(time.Hour); len(l.Chattering) != 1 || l.Chattering[0] != (Chatter{"p1", "dry", 1, 3}) {
		t.Errorf("three in a minute: %+v", l.Chattering)
	}
	if l := raised(0, 30, 60).load(time.Hour); len(l.Chattering) != 0 {
		t.Errorf("three in more than a minute: %+v", l.Chattering)
	}
	s := &Spans{}
	s.put("p1", rules.Leaking, 0, 24*time.Hour)
	s.put("p2", rules.Leaking, 0, 24*time.Hour+time.Second)
	l := s.load(48 * time.Hour)
	if len(l.Stale) != 1 || l.Stale[0].Gland != "p2" || l.Stale[0].Seconds != 86401 {
		t.Errorf("standing: %+v", l.Stale)
	}
	if l.Periods != [6]int{48*6 - 1, 0, 1} {
		t.Errorf("periods %v", l.Periods)
	}
	if len(l.Frequent) != 2 || l.Frequent[0].Share != 0.5 {
		t.Errorf("frequent %+v", l.Frequent)
	}
}

func TestWeeksBeginOnMonday(t *testing.T) {
	at := func(text string) time.Duration {
		when, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		return time.Duration(when.UnixNano())
	}
	for text, monday := range map[string]string{
		"2026-03-01T23:59:59Z": "2026-02-23", "2026-03-02T00:00:00Z": "2026-03-02", "1970-01-01T00:00:00Z": "1969-12-29",
	} {
		w := Watch{}
		for _, r := range watchedFor(at(text), time.Second) {
			w.Row(r)
		}
		if weeks := w.weeks(&Spans{}, &Spans{}); weeks[0].Monday != monday {
			t.Errorf("%s is in the week of %s, want %s", text, weeks[0].Monday, monday)
		}
	}
	// Monday begins an hour earlier in a zone that is an hour ahead.
	ahead := Watch{Zone: time.FixedZone("ahead", 3600)}
	if a, b := ahead.weekOf(at("2026-03-01T22:59:59Z")), ahead.weekOf(at("2026-03-01T23:00:00Z")); a+1 != b || monday(b) != "2026-03-02" {
		t.Errorf("weeks %s and %s", monday(a), monday(b))
	}
}

func TestOfPutsSideBySide(t *testing.T) {
	var before, after Spans
	const h = time.Hour
	before.put("p1", rules.Dry, 1*h, time.Minute)
	after.put("p1", rules.Dry, 1*h-20*time.Second, time.Minute) // earlier
	before.put("p1", rules.Dry, 3*h, time.Minute)               // only old
	after.put("p1", rules.Dry, 200*h, time.Minute)              // only new, second week
	after.Transition(rules.Transition{At: 333 * h, Gland: "p2", Condition: rules.Leaking, Active: true})
	var w Watch
	for _, r := range watchedFor(0, 336*h) {
		w.Row(r)
	}
	r := Of(&before, &after, &w, 10*time.Minute, []string{"p2", "p1"})
	if len(r.Lines) != 2 || r.Lines[0].Gland != "p2" {
		t.Fatalf("%+v", r.Lines)
	}
	dry := r.Lines[1]
	if dry.Both != 1 || dry.OnlyOld != 1 || dry.OnlyNew != 1 || dry.Earlier != 1 || dry.Later != 0 || *dry.Shift != (Shift{-20, -20, -20}) {
		t.Errorf("%+v", dry)
	}
	if leak := r.Lines[0].Alarms[0]; leak.Old != nil || !leak.New.Open || leak.New.Seconds() != 3*3600 {
		t.Errorf("%+v", leak.New)
	}
	checkWeeks(t, r)
	if short := Of(&Spans{}, &Spans{}, &Watch{}, 0, nil); short.OldPerWeek != nil {
		t.Error("alarms a week of nothing watched")
	}
}

func checkWeeks(t *testing.T, r Result) {
	t.Helper()
	if *r.OldPerWeek != 1 || *r.NewPerWeek != 1.5 {
		t.Errorf("a week: %g and %g", *r.OldPerWeek, *r.NewPerWeek)
	}
	weeks := slices.Collect(func(yield func([2]int) bool) {
		for _, k := range r.Weeks {
			if !yield([2]int{k.Old, k.New}) {
				return
			}
		}
	})
	// 1970-01-01 was a Thursday: 14 days lie in three weeks.
	if !slices.Equal(weeks, [][2]int{{2, 1}, {0, 1}, {0, 1}}) || r.Weeks[0].Hours != 96 {
		t.Errorf("weeks %v, %+v", weeks, r.Weeks)
	}
}
