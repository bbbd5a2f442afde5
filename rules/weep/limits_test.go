package weep

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Limits that are remembered are those that would be found anew.
func TestRememberedLimitsAreTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := NewDetector(Config{DryDPM: 15, LeakDPM: 60, GushDPM: 200, FalseAlarmsPerYear: 1}, NewModels())
		var c Counter
		at := time.Hour
		c.Restart(at)
		for range rapid.IntRange(1, 100).Draw(t, "rows") {
			at += time.Duration(rapid.Int64Range(1, 5e9).Draw(t, "interval"))
			n := rapid.SampledFrom([]int{1, 1, 1, 2, 50}).Draw(t, "drops")
			c.Add(at, n)
			d.Drops(at, n)
			d.useShape(rapid.IntRange(0, 3).Draw(t, "step"))
			now := at + time.Duration(rapid.Int64Range(0, 90e9).Draw(t, "later"))
			for range 2 {
				got, ok := d.Known(&c, now)
				want, known := c.Known(now, d.Onset(), d.Shape())
				if got != want || ok != known {
					t.Fatalf("%+v %v, want %+v %v", got, ok, want, known)
				}
			}
		}
	})
}

func TestMemoryOfLimitsIsBounded(t *testing.T) {
	l := make(limits)
	for n := range uint32(3 * limitsMost) {
		l.of(n, 2)
	}
	if len(l) > limitsMost {
		t.Errorf("%d are remembered, want at most %d", len(l), limitsMost)
	}
}
