package agent

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules"
	"weepd/rules/reading"
)

func TestTallyLeavesGapsAndRestOut(t *testing.T) {
	tally := NewReplayTally(rules.Config{Glands: []rules.GlandConfig{{ID: "p1"}, {ID: "p2"}}})
	run := func(at time.Duration, v float64) reading.Reading {
		return reading.Reading{At: at, Point: reading.Point{Gland: "p1", Kind: reading.Run}, Value: v}
	}
	bad := dripRow(150*time.Second, "p1", 99)
	bad.Quality = reading.Lost
	for _, r := range []reading.Reading{
		run(0, 1),
		dripRow(30*time.Second, "p1", 10),
		dripRow(60*time.Second, "p1", 20), // one minute turning, 30 drops
		run(60*time.Second, 0),
		dripRow(120*time.Second, "p1", 5), // one minute at rest
		bad,                               // half a minute at rest, count not to be believed
		dripRow(time.Hour, "p1", 1),       // a gap
		run(time.Hour, 1),
		dripRow(time.Hour+time.Minute, "p1", 30), // one minute turning, 30 drops
	} {
		tally.Row(r)
	}
	g := tally.Glands()[0]
	if g.Rows != 9 || g.Drops != 66 || g.TurningDrops != 60 || g.DripRows != 6 {
		t.Errorf("rows %d, drops %g, turning %g, drip rows %d", g.Rows, g.Drops, g.TurningDrops, g.DripRows)
	}
	if g.Turning != 2*time.Minute || g.Watched != 3*time.Minute+30*time.Second {
		t.Errorf("turning %s, watched %s", g.Turning, g.Watched)
	}
	if dpm, ok := g.TurningDPM(); !ok || dpm != 30 {
		t.Errorf("mean %g %v, want 30", dpm, ok)
	}
	if g.First != 0 || g.Last != time.Hour+time.Minute {
		t.Errorf("from %s to %s", g.First, g.Last)
	}
	if _, ok := tally.Glands()[1].TurningDPM(); ok {
		t.Error("a gland without rows has a mean weep")
	}
}

func TestTallyOfAlarms(t *testing.T) {
	tally := NewReplayTally(rules.Config{Glands: []rules.GlandConfig{{ID: "p1"}}})
	alarm := func(at time.Duration, c rules.Condition, active bool) {
		tally.Transition(rules.Transition{At: at, Gland: "p1", Condition: c, Active: active})
	}
	tally.Row(dripRow(0, "p1", 1))
	alarm(10, rules.Dry, true)
	alarm(15, rules.Dry, false)
	alarm(20, rules.Dry, true)
	alarm(30, rules.Dry, false)
	alarm(40, rules.Leaking, true)
	tally.Row(dripRow(100, "p1", 1))
	g := tally.Glands()[0]
	if a := g.Alarms[rules.Dry]; a.Times != 2 || a.Total != 15 || a.Active {
		t.Errorf("dry %+v", a)
	}
	if a := g.Alarms[rules.Leaking]; a.Times != 1 || a.Total != 60 || !a.Active {
		t.Errorf("leaking %+v", a)
	}
}

// Rows counted many at a time count as one by one.
func TestTallyOfManyRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := rules.Config{Glands: []rules.GlandConfig{{ID: "p1"}, {ID: "p2"}}}
		single, many := NewReplayTally(cfg), NewReplayTally(cfg)
		points := []reading.Point{{Gland: "p1"}, {Gland: "p1", Kind: reading.Temp}, {Gland: "p1", Kind: reading.Run},
			{Gland: "p2"}, {Gland: "p2", Kind: reading.Watch}, {Gland: "p9"}}
		var glands []*GlandTally
		for _, p := range points {
			glands = append(glands, many.glands[p.Gland])
		}
		at := time.Duration(0)
		for range rapid.IntRange(1, 10).Draw(t, "batches") {
			var rows []reading.Row
			for range rapid.IntRange(0, 20).Draw(t, "rows") {
				at += time.Duration(rapid.SampledFrom([]int64{0, 1e9, 60e9, 61e9}).Draw(t, "step"))
				i := rapid.SampledFrom([]int{0, 0, 0, 1, 1, 2, 3, 4, 5}).Draw(t, "point")
				row := reading.Row{At: at, Point: uint16(i), Kind: points[i].Kind, Value: float64(rapid.IntRange(0, 3).Draw(t, "value"))}
				row.Quality = rapid.SampledFrom([]reading.Quality{reading.Good, reading.Good, reading.Good, reading.Inferred, reading.Fault}).Draw(t, "quality")
				single.Row(reading.Reading{At: at, Point: points[i], Value: row.Value, Quality: row.Quality})
				rows = append(rows, row)
			}
			many.rows(rows, glands)
		}
		if a, b := fmt.Sprintf("%+v", single.Glands()), fmt.Sprintf("%+v", many.Glands()); a != b {
			t.Fatalf("one by one\n%s\nmany at a time\n%s", a, b)
		}
	})
}
