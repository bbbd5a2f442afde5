package rules

import (
	"math"
	"strings"
	"testing"
	"time"

	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

func runInFor(d time.Duration) func(*GlandConfig) {
	return func(c *GlandConfig) { c.Timing.RunIn = d }
}

func (k *kept) runIn() upkeep.RunIn {
	k.t.Helper()
	s, _ := k.Upkeep("p1")
	return s.RunIn
}

// A mechanic who follows the targets: from a generous weep down a stage at a
// time. The run-in ends by itself, well before its time, and its curve is handed
// over.
func TestRunInLeadsDownToTheBand(t *testing.T) {
	k := newKept(t, runInFor(4*time.Hour))
	k.drips(time.Minute, 100, 8)
	k.does(upkeep.Repacked, upkeep.Value{Rings: 5})
	begun := k.at
	r := k.runIn()
	if !r.Active || r.Stage != 0 || r.Stages != 5 || math.Abs(r.TargetDPM-100) > 1e-9 || r.MostDPM != 200 {
		t.Fatalf("at first %+v", r)
	}
	dpm, stages, target := 150.0, []int{0}, r.TargetDPM
	for k.at-begun < 4*time.Hour && k.runIn().Active {
		k.drips(time.Minute, dpm, 8)
		r = k.runIn()
		if last := stages[len(stages)-1]; r.Stage != last {
			stages = append(stages, r.Stage)
			if r.Stage != last+1 || r.TargetDPM >= target {
				t.Errorf("stage %d after %d, target %g after %g", r.Stage, last, r.TargetDPM, target)
			}
			target = r.TargetDPM
		}
		if r.Active && dpm > 1.05*r.MostDPM { // he is told to, and does
			if !strings.Contains(r.Next, "one flat, wait 2 minutes") || !strings.Contains(r.Next, "guards") {
				t.Errorf("at %g of at most %g: %s", dpm, r.MostDPM, r.Next)
			}
			dpm = r.TargetDPM
		}
	}
	if len(stages) != 5 {
		t.Errorf("stages %v", stages)
	}
	k.ended()
	k.said = nil
	k.drips(30*time.Minute, 90, 8) // the usual limits hold again
	if got := k.raised(); got != "leaking true" {
		t.Errorf("after it: %q", got)
	}
}

// ended looks at a run-in that came to its end in the band.
func (k *kept) ended() {
	k.t.Helper()
	t := k.t
	over := k.runIn()
	if over.Active || over.Outcome != inBand {
		t.Errorf("over %v: %s", !over.Active, over.Outcome)
	}
	// 15 minutes at first, then ten at each stage.
	if took := over.Ended - over.From; took < 55*time.Minute || took > 80*time.Minute {
		t.Errorf("it took %s", took)
	}
	if n := len(over.Curve); n < 50 || n > curveMost || over.Curve[0].TargetDPM != 100 || over.Curve[n-1].TargetDPM != 30 || math.Abs(over.Curve[n-1].RiseC-8) > 0.5 {
		t.Errorf("%d points, from %+v to %+v", n, over.Curve[0], over.Curve[n-1])
	}
	told := 0
	for _, f := range k.fresh {
		if f.RunIn != nil {
			told++
		}
	}
	if told != 1 {
		t.Errorf("handed over %d times", told)
	}
}

// Heat stops the way down, goes a stage back and stops the clock; it is never
// said to tighten.
func TestRunInWaitsForTheHeat(t *testing.T) {
	k := newKept(t, runInFor(2*time.Hour))
	k.drips(time.Minute, 90, 8)
	k.does(upkeep.Repacked, upkeep.Value{})
	k.drips(27*time.Minute, 90, 8)
	if r := k.runIn(); r.Stage < 1 {
		t.Fatalf("cool: %+v", r)
	}
	stage := k.runIn().Stage
	k.drips(40*time.Minute, 90, 17) // of 25: over three fifths
	r := k.runIn()
	if r.Stage >= stage || r.Steady || !strings.Contains(r.Next, "do not tighten") || strings.Contains(r.Next, "one flat") {
		t.Errorf("hot: %+v", r)
	}
	k.drips(90*time.Minute, 90, 17) // over two hours since the repacking
	if r := k.runIn(); !r.Active {
		t.Errorf("the heat did not stop the clock: %+v", r)
	}
	k.drips(3*time.Hour, 90, 17)
	if r := k.runIn(); r.Active || r.Outcome != outOfTime {
		t.Errorf("twice its time: %+v", r)
	}
}

// After a restart the part of the curve that lies before is there again.
func TestRunInCurveGoesOn(t *testing.T) {
	k := newKept(t, runInFor(4*time.Hour))
	k.drips(time.Minute, 90, 8)
	from := k.at - time.Hour
	if _, err := k.Record("p1", upkeep.Entry{Seq: 1, At: from, Kind: upkeep.Repacked}); err != nil {
		t.Fatal(err)
	}
	var past []upkeep.RunInPoint
	for i := -5; i < 300; i++ {
		past = append(past, upkeep.RunInPoint{At: from + time.Duration(i)*12*time.Second, DPM: 100, RiseC: math.NaN()})
	}
	k.DrawRunIn("p1", past)
	k.drips(5*time.Minute, 90, 8)
	curve := k.runIn().Curve
	if n := len(curve); n < 90 || n > curveMost || curve[0].At < from || curve[0].DPM != 100 || curve[n-1].DPM > 95 {
		t.Errorf("%d points, from %+v to %+v", n, curve[0], curve[n-1])
	}
	for i := 1; i < len(curve); i++ {
		if curve[i].At <= curve[i-1].At {
			t.Fatalf("point %d at %s after %s", i, curve[i].At, curve[i-1].At)
		}
	}
}

func TestRunInSaysWhatToDo(t *testing.T) {
	k := newKept(t, runInFor(4*time.Hour))
	k.does(upkeep.Repacked, upkeep.Value{})
	if r := k.runIn(); !strings.Contains(r.Next, "not known yet") {
		t.Errorf("nothing known: %s", r.Next)
	}
	k.drips(3*time.Minute, 90, 8)
	if r := k.runIn(); !strings.Contains(r.Next, "wait until weep and heat are steady") {
		t.Errorf("not steady: %s", r.Next)
	}
	k.feed(reading.Run, 0)
	for range 30 { // nothing falls
		k.at += 20 * time.Second
		k.feed(reading.Drip, 0)
	}
	if r := k.runIn(); !strings.Contains(r.Next, "at rest") {
		t.Errorf("at rest: %s", r.Next)
	}
	k.does(upkeep.Corrected, upkeep.Value{Of: 1, Void: true})
	if r := k.runIn(); r.Active || r.Outcome != takenBack {
		t.Errorf("taken back: %+v", r)
	}
}

// A gland without a run-in, or long past it, has none.
func TestNoRunIn(t *testing.T) {
	k := newKept(t, runInFor(0))
	k.drips(time.Minute, 90, 8)
	k.does(upkeep.Repacked, upkeep.Value{})
	if r := k.runIn(); r.Known {
		t.Errorf("%+v", r)
	}
	k = newKept(t, runInFor(4*time.Hour))
	k.drips(time.Minute, 90, 8)
	if out, err := k.Record("p1", upkeep.Entry{Seq: 1, At: k.at - 5*time.Hour, Kind: upkeep.Repacked}); err != nil || len(out) > 0 {
		t.Fatal(out, err)
	}
	if r := k.runIn(); r.Active {
		t.Errorf("five hours ago: %+v", r)
	}
}
