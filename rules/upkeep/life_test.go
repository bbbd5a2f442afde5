package upkeep

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// bench is a gland whose weep a test writes, hour by hour.
type bench struct {
	*Life
	now  time.Duration
	seq  uint64
	next func() float64
}

func newBench() *bench {
	return &bench{
		Life: NewLife(Config{NormalDPM: 30, DryDPM: 15, LeakDPM: 60, Nuts: Nuts{PitchMM: 1.5, TravelMM: 12, Flats: 6}}),
		now:  1_750_000_000 * time.Second / time.Hour * time.Hour, next: uniform(11),
	}
}

// weeps for so many hours, from one weep evenly to another, with 3 % of wander.
func (b *bench) weeps(hours int, from, to float64) {
	for i := range hours {
		dpm := from + (to-from)*(float64(i)+0.5)/float64(hours)
		dpm *= math.Exp(0.03 * normal(b.next))
		b.Observe(Bucket{From: b.now, To: b.now + time.Hour, Watched: time.Hour, Drops: uint32(60*dpm + 0.5)}, 4)
		b.now += time.Hour
	}
}

func (b *bench) does(k Kind, v Value) uint64 {
	b.seq++
	b.Record(Entry{Seq: b.seq, At: b.now, Kind: k, By: "mechanic", Value: v})
	return b.seq
}

func (b *bench) adjusts(flats float64) uint64 { return b.does(Adjusted, Value{Flats: flats}) }

func TestEffectOfAdjustments(t *testing.T) {
	for name, c := range map[string]struct {
		flats         float64
		before, after float64
		want          Verdict
	}{
		"worked":           {1, 65, 30, Worked},
		"not enough":       {1, 90, 70, Little},
		"nothing":          {1, 65, 65, Nothing},
		"more than before": {1, 60, 70, Nothing},
		"too far":          {2, 65, 8, Over},
		"slackened":        {-1, 10, 25, Worked},
		"slackened, not":   {-1, 10, 10, Nothing},
	} {
		b := newBench()
		b.weeps(48, c.before, c.before)
		b.adjusts(c.flats)
		b.weeps(24, c.after, c.after)
		list := b.Assess(b.now).Adjustments
		if len(list) != 1 {
			t.Fatalf("%s: %+v", name, list)
		}
		a := list[0]
		if a.Verdict != c.want || !near(a.Before.DPM, c.before, 0.05*c.before) || !near(a.After.DPM, c.after, 0.05*c.after) {
			t.Errorf("%s: %s, %+v", name, a.Verdict, a)
		}
		if d := c.before - c.after; a.CutLowDPM > d || d > a.CutHighDPM || !near(a.PerFlatDPM, a.CutDPM/c.flats, 1e-9) {
			t.Errorf("%s: came off %g (%g to %g), want about %g", name, a.CutDPM, a.CutLowDPM, a.CutHighDPM, d)
		}
	}
}

func TestAnEffectWaitsUntilItIsSeen(t *testing.T) {
	b := newBench()
	b.weeps(48, 65, 65)
	b.adjusts(1)
	if a := b.Assess(b.now).Adjustments[0]; a.Verdict != NotYet || a.After.Known {
		t.Errorf("at once: %+v", a)
	}
	b.weeps(2, 30, 30) // of which the first lies in the time of settling
	if a := b.Assess(b.now).Adjustments[0]; a.Verdict != Worked || !a.Holding {
		t.Errorf("two hours later: %+v", a)
	}
	c := newBench()
	c.adjusts(1)
	c.weeps(24, 30, 30)
	if a := c.Assess(c.now).Adjustments[0]; a.Verdict != Unseen {
		t.Errorf("nobody watched before: %+v", a)
	}
}

// Flats with a look between them are one adjustment; days apart they are two, and
// the first held until the weep was over the most allowed.
func TestAdjustmentsTogetherAndApart(t *testing.T) {
	b := newBench()
	b.weeps(48, 70, 70)
	b.adjusts(1)
	b.now += 30 * time.Minute
	b.adjusts(0.5)
	b.now += 30 * time.Minute
	b.weeps(240, 30, 90)
	b.adjusts(1)
	b.weeps(48, 30, 30)
	list := b.Assess(b.now).Adjustments
	if len(list) != 2 || list[0].Flats != 1.5 || list[0].Holding || !list[1].Holding {
		t.Fatalf("%+v", list)
	}
	if held := list[0].Held.Hours(); !near(held, 120, 6) {
		t.Errorf("held for %g hours, want about 120", held)
	}
}

// A correction counts, the newer one more, and nothing is erased.
func TestCorrections(t *testing.T) {
	b := newBench()
	b.weeps(24, 65, 65)
	first := b.adjusts(1)
	b.weeps(24, 30, 30)
	correct := func(v Value) { b.does(Corrected, v) }
	flats := func() float64 { return b.Assess(b.now).Packing.Flats }
	b.does(Repacked, Value{})
	b.adjusts(2)
	if flats() != 2 {
		t.Errorf("since the repacking %g flats", flats())
	}
	correct(Value{Of: 3, New: &Value{Flats: 3}})
	correct(Value{Of: 3, New: &Value{Flats: 4}})
	if flats() != 4 {
		t.Errorf("corrected twice: %g flats, want 4", flats())
	}
	correct(Value{Of: 2, Void: true}) // there was no repacking
	s := b.Assess(b.now)
	if s.Packing.Known || len(s.Adjustments) != 2 || s.Adjustments[0].Seq != first {
		t.Errorf("without the repacking: %+v", s)
	}
	correct(Value{Of: 3, Void: true})
	s = b.Assess(b.now)
	if len(s.Adjustments) != 1 || len(s.Entries) != 3 || !s.Entries[2].Void || s.Entries[2].Flats != 4 || s.Entries[2].Corrected != 7 {
		t.Errorf("voided: %+v", s.Entries)
	}
	b.Record(Entry{Seq: first, Kind: Adjusted, Value: Value{Flats: 9}}) // a restart repeats it
	if n := len(b.Assess(b.now).Entries); n != 3 {
		t.Errorf("%d entries after the same again", n)
	}
}

func TestTravelAndCount(t *testing.T) {
	b := newBench()
	b.does(Repacked, Value{Packing: "graphite", Rings: 5})
	b.weeps(48, 40, 40)
	b.adjusts(4)
	b.does(Counted, Value{Drops: 40, Minutes: 1})
	b.weeps(3, 40, 40)
	s := b.Assess(b.now)
	// A hexagon nut on a pitch of 1.5 mm: 0.25 mm a flat.
	if tr := s.Packing.Travel; !tr.Known || tr.UsedMM != 1 || tr.OfMM != 12 {
		t.Errorf("travel %+v", tr)
	}
	// Garwood's limits of 40 (facts of scipy and R): 28.58 and 54.47.
	if c := s.Count; !c.Known || !c.Agree || !near(c.Hand.LowDPM, 28.576586, 1e-5) || !near(c.Hand.HighDPM, 54.468647, 1e-5) {
		t.Errorf("count %+v", c)
	}
	b.does(Counted, Value{Drops: 120, Minutes: 1})
	b.weeps(3, 40, 40)
	if c := b.Assess(b.now).Count; c.Agree {
		t.Errorf("120 by hand beside 40 agree: %+v", c)
	}
}

// Tightening that changes nothing is said, and taken back when it works again,
// when the entry is taken back, or when the packing is new.
func TestIneffective(t *testing.T) {
	spent := func() *bench {
		b := newBench()
		b.does(Repacked, Value{})
		b.weeps(96, 40, 66)
		b.adjusts(1)
		b.weeps(12, 66, 66)
		return b
	}
	b := spent()
	if j := b.Judge(b.now); !j.Ineffective || !strings.Contains(j.IneffectiveWhy, "less than a tenth came off") || !j.RepackDue {
		t.Errorf("%+v", j)
	}
	if f := b.Assess(b.now).Outlook.Repack; !f.Now {
		t.Errorf("outlook %+v", f)
	}
	for what, cure := range map[string]func(b *bench){
		"taken back": func(b *bench) { b.does(Corrected, Value{Of: 2, Void: true}) },
		"repacked":   func(b *bench) { b.does(Repacked, Value{}); b.weeps(3, 50, 50) },
		"worked":     func(b *bench) { b.adjusts(2); b.weeps(6, 30, 30) },
	} {
		b := spent()
		b.Judge(b.now)
		cure(b)
		if j := b.Judge(b.now); j.Ineffective {
			t.Errorf("%s: %+v", what, j)
		}
	}
	two := newBench()
	two.weeps(48, 120, 120)
	two.adjusts(1)
	two.weeps(24, 95, 95)
	two.adjusts(1)
	two.weeps(24, 80, 80)
	if j := two.Judge(two.now); !j.Ineffective || !strings.Contains(j.IneffectiveWhy, "the last two adjustments") {
		t.Errorf("still over after two: %+v", j)
	}
}

// A packing that wears: shorter and shorter intervals, less and less effect.
func wearing(b *bench, adjustments int) {
	b.does(Repacked, Value{})
	days, after := 24.0, 26.0
	for range adjustments {
		b.weeps(int(24*days), after, 62)
		b.adjusts(1)
		days, after = days*0.8, after*1.06
	}
	b.weeps(int(6*days), after, after+(62-after)/4)
}

func TestTwoIntervalsAreTooFew(t *testing.T) {
	b := newBench()
	wearing(b, 2)
	s := b.Assess(b.now)
	if s.Trend.Interval.Surety != TooEarly || s.Outlook.Repack.Known || len(s.Outlook.Repack.Words) == 0 || !strings.Contains(s.Outlook.Repack.Words[0], "3 are needed") {
		t.Errorf("after two: %+v, %+v", s.Trend.Interval, s.Outlook.Repack)
	}
}

func TestTrendAndOutlookOfAPackingThatWears(t *testing.T) {
	b := newBench()
	wearing(b, 6)
	s := b.Assess(b.now)
	if i := s.Trend.Interval; i.Surety != Sure || !near(i.Per, -0.2, 0.03) {
		t.Errorf("intervals %+v, want a fifth shorter each", i)
	}
	if e := s.Trend.Effect; e.Surety != Sure || e.Per >= 0 {
		t.Errorf("effect %+v, want less each", e)
	}
	if words := strings.Join(s.Trend.Words, "; "); !strings.Contains(words, "(sure)") || !strings.Contains(words, "of 12.0 mm") {
		t.Errorf("words %s", words)
	}
	// The seventh interval is 24 x 0.8^6 = 6.3 days, a quarter of it is over.
	a := s.Outlook.Adjust
	if left := inDays(a.Mid - b.now); !a.Known || a.Now || left < 3 || left > 7 || a.Early >= a.Mid || a.Mid >= a.Late {
		t.Errorf("next adjustment in %g days: %+v", left, a)
	}
	r := s.Outlook.Repack
	if left := inDays(r.Mid - b.now); !r.Known || left < 8 || left > 30 || !strings.Contains(strings.Join(r.Words, " "), "faster after each adjustment") {
		t.Errorf("repacking in %g days: %+v", left, r)
	}
}

// Once due it stays so while the outlook breathes, and ends with new packing.
func TestRepackDueByOutlook(t *testing.T) {
	b := newBench()
	wearing(b, 9)
	j := b.Judge(b.now)
	if !j.RepackDue || j.Ineffective || len(j.RepackWhy) == 0 {
		t.Fatalf("%+v, due in %g days", j, inDays(b.Assess(b.now).Outlook.Repack.Mid-b.now))
	}
	b.does(Repacked, Value{})
	if j = b.Judge(b.now); j.RepackDue {
		t.Errorf("repacked: %+v", j)
	}
}

func TestRepackDueByTravel(t *testing.T) {
	b := newBench()
	b.does(Repacked, Value{})
	b.weeps(48, 40, 65)
	for _, c := range []struct {
		flats, weep float64
		says        string // empty: not due
	}{{40, 32, ""}, {5, 26, "travel for about one more adjustment: 11.2 of 12.0 mm"}, {3, 20, "travel is used up: 12.0 of 12.0 mm"}} {
		b.adjusts(c.flats)
		b.weeps(24, c.weep, c.weep)
		j := b.Judge(b.now)
		if j.RepackDue != (c.says != "") || c.says != "" && !strings.Contains(j.RepackWhy[0], c.says) {
			t.Errorf("after %g flats: %+v", c.flats, j)
		}
	}
}

func TestAQuietGlandSaysItIsTooEarly(t *testing.T) {
	b := newBench()
	b.weeps(240, 30, 30)
	s := b.Assess(b.now)
	if s.Outlook.Adjust.Known || s.Outlook.Repack.Known || s.Trend.Effect.Surety != TooEarly || len(s.Outlook.Adjust.Words) == 0 {
		t.Errorf("%+v", s)
	}
	if j := b.Judge(b.now); j.Ineffective || j.RepackDue {
		t.Errorf("%+v", j)
	}
}

func TestStepsAreNoticedOnce(t *testing.T) {
	notice := func(b *bench, hours int, from, to float64) (found []Step) {
		for range hours {
			b.weeps(1, from, from)
			from += (to - from) / float64(hours)
			if s, ok := b.LookForStep(b.now); ok {
				found = append(found, s)
				b.Record(Entry{At: s.At, Kind: Noticed, Value: Value{Before: s.BeforeDPM, After: s.AfterDPM}})
			}
		}
		return found
	}
	b := newBench()
	if list := notice(b, 96, 58, 58); len(list) != 0 {
		t.Fatalf("a steady weep steps: %+v", list)
	}
	stepped := b.now
	list := notice(b, 48, 33, 33)
	if len(list) != 1 || (list[0].At-stepped).Abs() > time.Hour || !near(list[0].BeforeDPM, 58, 3) || !near(list[0].AfterDPM, 33, 3) {
		t.Fatalf("%+v, want one at %s", list, stepped)
	}
	b.Number(list[0].At, 77)
	s := b.Assess(b.now)
	if len(s.Offers) != 1 || s.Offers[0].Seq != 77 || len(s.Adjustments) != 1 || s.Adjustments[0].Recorded {
		t.Fatalf("offers %+v, adjustments %+v", s.Offers, s.Adjustments)
	}
	b.does(Adjusted, Value{Flats: 1, Step: 77}) // a day later somebody says so
	s = b.Assess(b.now)
	if len(s.Offers) != 0 || len(s.Adjustments) != 1 || !s.Adjustments[0].Recorded || s.Adjustments[0].Verdict != Worked {
		t.Errorf("confirmed: offers %+v, adjustments %+v", s.Offers, s.Adjustments)
	}
	b = newBench()
	if list := notice(b, 240, 60, 25); len(list) != 0 {
		t.Errorf("a slope is no step: %+v", list)
	}
	b = newBench()
	notice(b, 48, 9, 9)
	if list := notice(b, 24, 25, 25); len(list) != 1 {
		t.Errorf("slackened: %+v", list)
	}
}

// Dismissed, a step is no adjustment and is not offered again.
func TestADismissedStep(t *testing.T) {
	b := newBench()
	b.weeps(48, 58, 58)
	b.Record(Entry{Seq: 5, At: b.now, Kind: Noticed, Value: Value{Before: 58, After: 30}})
	b.weeps(24, 30, 30)
	b.Record(Entry{Seq: 6, At: b.now, Kind: Corrected, Value: Value{Of: 5, Void: true}})
	s := b.Assess(b.now)
	if _, again := b.LookForStep(b.now); again || len(s.Offers) != 0 || len(s.Adjustments) != 0 {
		t.Errorf("%v, %+v", again, s)
	}
}

// However long a gland lives, what is remembered is bounded and counts the same
// drops, but for what is older than the oldest.
func TestSeriesIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s series
		cutEvery := time.Duration(rapid.IntRange(5, 500).Draw(t, "cut")) * time.Hour
		cut := func(from, to time.Duration) bool { return from/cutEvery != to/cutEvery }
		drops, at := uint64(0), time.Duration(0)
		for range rapid.IntRange(1, 3).Draw(t, "thousands") * 3000 {
			s.add(Bucket{From: at, To: at + time.Hour, Watched: time.Hour, Drops: 7}, cut)
			at += time.Hour
			drops += 7
		}
		kept := uint64(0)
		for i, b := range s {
			kept += uint64(b.Drops)
			if b.To-b.From > longestBucket || i > 0 && s[i-1].To > b.From {
				t.Fatalf("bucket %d: %+v", i, b)
			}
			if b.To-b.From > time.Hour && cut(b.From, b.To) {
				t.Fatalf("joined over a cut: %+v", b)
			}
		}
		if len(s) > bucketsMost || kept > drops || kept < drops && s[0].From == 0 {
			t.Fatalf("%d buckets, %d drops of %d", len(s), kept, drops)
		}
	})
}

// Assess changes nothing: asking more often does not change the answer.
func TestAskingChangesNothing(t *testing.T) {
	a, b := newBench(), newBench()
	for _, one := range []*bench{a, b} {
		wearing(one, 4)
	}
	for i := range 5 {
		a.Assess(a.now - time.Duration(i)*time.Hour)
	}
	if x, y := a.Assess(a.now), b.Assess(b.now); x.Outlook.Repack.Mid != y.Outlook.Repack.Mid || x.Outlook.Adjust.Mid != y.Outlook.Adjust.Mid {
		t.Errorf("%+v, %+v", x.Outlook, y.Outlook)
	}
}
