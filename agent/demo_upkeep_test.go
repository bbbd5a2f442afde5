package agent

import (
	"testing"
	"time"
)

// The demonstration has one gland whose outlook says something, and is not so far
// that it raises an alarm of its own; the present weep goes on from its past.
func TestDemoHasAnOutlook(t *testing.T) {
	clock := NewClock(nil)
	glands, _, err := Demo(clock)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	past := DemoUpkeep(now)
	all, err := UpkeepOf(glands, past.Upkeep, past.Weeps, now)
	if err != nil {
		t.Fatal(err)
	}
	u := all[demoWorn]
	if !u.NextAdjustment.Known || !u.Repack.Known || u.Repack.Now || u.Repack.Mid.Before(now.AddDate(0, 0, 20)) || len(u.Adjustments) != 6 {
		t.Errorf("%+v, %+v", u.NextAdjustment, u.Repack)
	}
	for _, a := range u.Adjustments {
		if a.Verdict != "worked" || !a.Recorded {
			t.Errorf("%+v", a)
		}
	}
	if w := past.Weeps[demoWorn]; now.Sub(w[len(w)-1].To) < 3*time.Hour || now.Sub(w[len(w)-1].To) > 6*time.Hour {
		t.Errorf("the past ends at %s", w[len(w)-1].To)
	}
}
