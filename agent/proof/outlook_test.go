package proof

import (
	"testing"
	"time"
)

// Seventy lives: what the outlook states as 80 % ranges holds in 70 to 90 %
// of the cases, for both, and it is asked often enough for that to mean something.
// `weepd proof outlook` plays more of them.
func TestOutlookHoldsWhatItStates(t *testing.T) {
	sum := Sum(LookBacks(t.Context(), 5000, 70, 2))
	for what, c := range map[string]Coverage{SayAdjust: sum.Adjust, SayRepack: sum.Repack} {
		t.Logf("%s: %+v", what, c)
		if c.Stated < 80 || c.Coverage < 0.7 || c.Coverage > 0.9 {
			t.Errorf("%s: %d of %d ranges held, want 70 to 90 %% of at least 80", what, c.Held, c.Stated)
		}
	}
	if s := sum.Steps; s.Silent < 40 || float64(s.Found) < 0.75*float64(s.Silent) || s.PerYear.DPM > 1.5 {
		t.Errorf("steps %+v: want three of four noticed and at most 1.5 false ones a year", s)
	}
	if w := sum.Warning; w.Spent < 60 || float64(w.Day) < 0.8*float64(w.Spent) || w.Early > w.Spent/20 {
		t.Errorf("warning %+v: want four of five told a day before, and hardly one over two months", w)
	}
	if sum.Verdicts["worked"] < 500 || sum.Spent["not yet"] > 20 {
		t.Errorf("verdicts %v, spent %v: the lives are not worth looking back on", sum.Verdicts, sum.Spent)
	}
}

// The measure itself: ranges that are too narrow, or too wide, do not pass.
func TestCoverageCountsWhatCame(t *testing.T) {
	b := Back{Sayings: []Saying{
		{What: SayAdjust, Opening: Even, Known: true, Early: 2, Late: 4, Came: 3},
		{What: SayAdjust, Opening: Even, Known: true, Early: 2, Late: 4, Came: 1},
		{What: SayAdjust, Opening: Jumps, Known: true, Early: 2, Late: 4, Came: 5},
		{What: SayAdjust, Opening: Jumps, Came: 5}, {What: SayRepack, Opening: Even, Known: true, Late: 1, Came: 9},
	}}
	c := CoverageOf([]Back{b}, SayAdjust, "")
	if c.Asked != 4 || c.Stated != 3 || c.Held != 1 || c.Early != 1.0/3 || c.Ratio != 2 {
		t.Errorf("%+v", c)
	}
	if c := CoverageOf([]Back{b}, SayAdjust, Even); c.Stated != 2 || c.Coverage != 0.5 {
		t.Errorf("%+v", c)
	}
}

// The lives differ in kind and come to their end in each of the ways; the same
// number is the same life.
func TestPackingsLiveAndEnd(t *testing.T) {
	spent := map[string]int{}
	for i := range 30 {
		spent[LookBack(i).Spent]++
	}
	if spent["effect"] == 0 || spent["interval"] == 0 || spent["travel"] == 0 {
		t.Errorf("spent %v", spent)
	}
	a, b := newPacking(7), newPacking(7)
	for h := range 500 {
		at := time.Duration(h) * time.Hour
		a.hour()
		b.hour()
		if x, y := a.bucket(at), b.bucket(at); x != y {
			t.Fatalf("hour %d: %+v and %+v", h, x, y)
		}
	}
	if a.level <= a.start {
		t.Errorf("the weep did not grow: %g from %g", a.level, a.start)
	}
}
