package rules

import (
	"fmt"
	"math"
	"time"

	"weepd/rules/upkeep"
)

// guide leads through a run-in: from a generous weep down in stages, the next
// once this one is steady and only as far as the heat allows. It ends by itself
// when the weep is steady in its band. The alarm limits follow the clock
// (runIn); heat and rest stop that clock.
type guide struct {
	run     upkeep.RunIn
	tick    time.Duration // the next look
	every   time.Duration // between points of the curve
	stageAt time.Duration // this stage began
	held    time.Duration // for how long heat or rest stopped the clock
	recent  [2 * half]float64
	known   int // of recent, the newest first
	last    Weep
	hot     bool
	resting bool
}

const (
	lookEvery = time.Minute
	half      = 5 // minutes that are compared with as many before

	// firstStay: new packing is run for 10 to 15 minutes before the first
	// tightening, then brought down gradually to a constant drip (MIL-HDBK-1164
	// table 11). laterStay between later steps is a choice of ours; the least in
	// any source is 2 minutes after each flat (Army TM 5-4210-233-14&P-2, p. 6-39).
	firstStay = 15 * time.Minute
	laterStay = 10 * time.Minute

	// steadyRatio is how far two means of half minutes may differ: at the least
	// weep of natural packing, 15 a minute, two means of irregular drops differ by
	// as much once in ten times. steadySlope, °C a minute, is what a gland that is
	// warm moves by. hotShare of the rise limit ends further steps. No source.
	steadyRatio = 1.25
	steadySlope = 0.1
	hotShare    = 0.6
	curveMost   = 240
)

// Outcomes of a run-in.
const (
	inBand    = "in-band"
	outOfTime = "out-of-time"
	replaced  = "replaced" // another repacking was recorded
	takenBack = "taken-back"
)

func (g *gland) newGuide(at time.Duration) *guide {
	from := g.runIn.from
	d := &guide{every: lookEvery, stageAt: max(from, at-laterStay), tick: max(from, at) + lookEvery}
	if from == at {
		d.stageAt = from
	}
	d.run = upkeep.RunIn{Known: true, Active: true, From: from, Stage: g.runIn.step, Stages: runInSteps + 1}
	return d
}

// DrawRunIn gives a run-in that goes on after a restart the part of its curve that
// lies before; the targets are those of its stage now.
func (s *Station) DrawRunIn(gland string, past []upkeep.RunInPoint) {
	g, found := s.byID[gland]
	if !found || g.care.guide == nil || !g.care.guide.run.Active {
		return
	}
	d := g.care.guide
	each := max(1, (2*len(past)+curveMost-1)/curveMost)
	var curve []upkeep.RunInPoint
	for i := 0; i < len(past); i += each {
		if p := past[i]; p.At >= d.run.From && p.At < s.now {
			p.TargetDPM, _, _ = g.stageDPM(d.run.Stage)
			curve = append(curve, p)
		}
	}
	d.run.Curve = append(curve, d.run.Curve...)
}

// next is when the guide looks again.
func (d *guide) next() (time.Duration, bool) {
	if d == nil || !d.run.Active {
		return 0, false
	}
	return d.tick, true
}

// stageDPM is the wanted weep of a stage with its least and its most.
func (g *gland) stageDPM(stage int) (target, least, most float64) {
	l := g.cfg.Limits
	wide := math.Pow(l.GushDPM/l.LeakDPM, 1-float64(stage)/runInSteps)
	target = g.cfg.NormalDPM * wide
	least = l.DryDPM
	if stage < runInSteps {
		least = max(l.DryDPM, target/1.5)
	}
	return target, least, l.LeakDPM * wide
}

// lead looks at the run-in at its ticks.
func (g *gland) lead(at time.Duration) {
	d := g.care.guide
	for due, ok := d.next(); ok && due <= at; due, ok = d.next() {
		d.tick = at + lookEvery
		g.look(at)
	}
}

func (g *gland) look(at time.Duration) {
	d := g.care.guide
	weep := g.weep(at)
	rise, warm := g.rise.Judged()
	d.note(weep)
	d.hot = warm && rise >= hotShare*g.cfg.Limits.RiseC
	d.resting = !g.shaft.turning()
	d.run.Steady = d.settled() && !d.resting && !d.hot && (!warm || g.rise.Slope() <= steadySlope)
	g.draw(at, weep, rise, warm)
	g.stage(at, weep)
	if (d.hot || d.resting) && d.run.Active && d.held < g.cfg.Timing.RunIn {
		d.held += lookEvery
		g.runIn.from += lookEvery
		g.runIn.until += lookEvery
	}
	if d.run.Active && at >= g.runIn.until {
		g.endRunIn(at, outOfTime)
	}
}

// note takes the weep of a minute; one that is not known begins anew.
func (d *guide) note(w Weep) {
	d.last = w
	if !w.Known {
		d.known = 0
		return
	}
	copy(d.recent[1:], d.recent[:])
	d.recent[0] = w.DPM
	d.known = min(d.known+1, len(d.recent))
}

// settled compares the last minutes with those before.
func (d *guide) settled() bool {
	if d.known < len(d.recent) {
		return false
	}
	now, before := 0.0, 0.0
	for i := range half {
		now += d.recent[i]
		before += d.recent[half+i]
	}
	return now < before*steadyRatio && before < now*steadyRatio
}

// stage goes on to the next stage, back, or to the end.
func (g *gland) stage(at time.Duration, w Weep) {
	d := g.care.guide
	stay := laterStay
	if d.run.Stage == 0 {
		stay = firstStay
	}
	if at-d.stageAt < stay {
		return
	}
	_, _, most := g.stageDPM(d.run.Stage)
	switch {
	case d.hot && d.run.Stage > 0:
		d.enter(at, d.run.Stage-1)
	case !d.run.Steady || w.DPM > most:
	case d.run.Stage < runInSteps:
		d.enter(at, d.run.Stage+1)
	case w.DPM > g.cfg.Limits.DryDPM:
		g.endRunIn(at, inBand)
	}
}

func (d *guide) enter(at time.Duration, stage int) {
	d.run.Stage, d.stageAt, d.known, d.run.Steady = stage, at, 0, false
}

// draw adds a point to the curve, which halves when it is full.
func (g *gland) draw(at time.Duration, w Weep, rise float64, warm bool) {
	d := g.care.guide
	curve := d.run.Curve
	if n := len(curve); n > 0 && at-curve[n-1].At < d.every {
		return
	}
	p := upkeep.RunInPoint{At: at, DPM: math.NaN(), RiseC: math.NaN()}
	if w.Known {
		p.DPM = w.DPM
	}
	if warm {
		p.RiseC = rise
	}
	p.TargetDPM, _, _ = g.stageDPM(d.run.Stage)
	if curve = append(curve, p); len(curve) > curveMost {
		kept := make([]upkeep.RunInPoint, 0, curveMost)
		for i := 0; i < len(curve); i += 2 {
			kept = append(kept, curve[i])
		}
		curve, d.every = kept, 2*d.every
	}
	d.run.Curve = curve
}

// endRunIn puts the usual limits in force and hands the curve over.
func (g *gland) endRunIn(at time.Duration, outcome string) {
	d := g.care.guide
	if d == nil || !d.run.Active {
		return
	}
	d.run.Active, d.run.Ended, d.run.Outcome = false, at, outcome
	g.runIn = runIn{}
	g.setLeak(at)
	over := g.runInState()
	g.bring(Fresh{Gland: g.cfg.ID, RunIn: &over})
}

// runInState is the run-in as it stands.
func (g *gland) runInState() upkeep.RunIn {
	if g.care.guide == nil {
		return upkeep.RunIn{}
	}
	r := g.care.guide.run
	r.TargetDPM, r.LeastDPM, r.MostDPM = g.stageDPM(r.Stage)
	r.Curve = append([]upkeep.RunInPoint(nil), r.Curve...)
	r.Next = g.nextWords(r)
	return r
}

// nextWords says what to do now. The steps are those of Army TM
// 5-4210-233-14&P-2, p. 6-39 (one flat, then 2 minutes; hot: stop and let it
// cool), the even turn of both nuts that of MIL-HDBK-1164 p. 103 and NAVEDTRA
// 14113 fig. 7-6.
func (g *gland) nextWords(r upkeep.RunIn) string {
	const care = " Keep outside the guards; the pump maker's instructions come first."
	d := g.care.guide
	w := d.last
	switch {
	case !r.Active && r.Outcome == inBand:
		return "Over: the weep is steady in its band."
	case !r.Active:
		return "Over: the usual limits hold. Count the drops and look at the gland."
	case d.resting:
		return "The shaft is at rest: the run-in waits."
	case d.hot:
		return "The gland is hot: do not tighten. If it goes on warming have the pump stopped and let it cool; slack back only as the maker's instructions allow." + care
	case !w.Known:
		return "The weep is not known yet: wait."
	case w.DPM < r.LeastDPM && r.Stage == runInSteps:
		return "Less weep than cools and lubricates: do not tighten. If it stays so have the pump stopped, and slack back half a flat as the maker's instructions allow." + care
	case w.DPM > r.MostDPM:
		return fmt.Sprintf("Bring the weep down from %s to about %s: tighten both nuts evenly by one flat, wait 2 minutes, look again.", number(w.DPM), rate(r.TargetDPM)) + care
	case !r.Steady:
		return "Leave it and wait until weep and heat are steady."
	}
	return "Steady: leave it, the next stage comes by itself."
}
