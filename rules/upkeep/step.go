package upkeep

import (
	"math"
	"time"
)

// Step is a sudden and lasting change of the weep that nobody has recorded.
type Step struct {
	Seq                 uint64 // of its event; 0 while it has none
	At                  time.Duration
	BeforeDPM, AfterDPM float64
}

const (
	// stepSpan is how long the weep is watched on both sides of a step.
	stepBefore = 12 * time.Hour
	stepAfter  = 3 * time.Hour
	// stepLeast is the least change, a quarter: less is within what pressure and
	// temperature do. stepScore is how many standard deviations it must be, by the
	// gland's own wander. No source; the false offers are measured by `weepd proof
	// outlook`.
	stepLeast = 0.25
	stepScore = 5
)

// LookForStep looks at the newest buckets for an adjustment that nobody
// recorded. It finds a step once: when it is recorded as Noticed.
func (l *Life) LookForStep(at time.Duration) (Step, bool) {
	if !l.series.changes() {
		return Step{}, false
	}
	v := l.view(at, l.effective())
	now := v.now()
	if len(now) < 3 || at-now[len(now)-1].To > levelReach {
		return Step{}, false
	}
	after := now.last(stepAfter)
	rest := now[:len(now)-len(after)]
	if len(rest) < 2 {
		return Step{}, false
	}
	between := rest[len(rest)-1] // the step may lie in it
	for _, before := range []series{rest[:len(rest)-1].last(stepBefore), rest.last(stepBefore)} {
		s, found := v.stepBetween(before, after)
		if !found {
			continue
		}
		s.At = between.From
		if s.beyond(between.DPM()) < 0 {
			s.At = after[0].From
		}
		return s, true
	}
	return Step{}, false
}

// beyond says on which side of the step's middle a weep lies: above 0 on that of
// after.
func (s Step) beyond(dpm float64) float64 {
	middle := math.Sqrt(max(s.AfterDPM, 0.1) * s.BeforeDPM)
	return (dpm - middle) * (s.AfterDPM - s.BeforeDPM)
}

// changes reports whether the newest weep differs enough from that before for a
// closer look.
func (s series) changes() bool {
	after := s.last(stepAfter)
	rest := s[:len(s)-len(after)]
	if len(rest) < 2 {
		return false
	}
	a, _ := sum(after)
	b, _ := sum(rest.last(stepBefore))
	ratio := max(a.DPM(), 0.1) / max(b.DPM(), 0.1)
	const soft = 0.9 // of stepLeast: the closer look has the stretches right
	return ratio < 1-soft*stepLeast || ratio > 1/(1-soft*stepLeast)
}

func (v *view) stepBetween(before, after series) (Step, bool) {
	b, nb := sum(before)
	a, na := sum(after)
	if b.Watched < stepAfter || a.Watched < stepAfter || nb < 10 || a.From-b.To > levelReach {
		return Step{}, false
	}
	s := Step{BeforeDPM: b.DPM(), AfterDPM: a.DPM()}
	change := math.Log(max(s.AfterDPM, 0.1) / s.BeforeDPM)
	wander := max(v.wander, usualWander/2)
	deviation := math.Sqrt((1/nb+1/max(na, 1))/v.shape + 2*wander*wander)
	down := change < math.Log(1-stepLeast)
	// More weep all at once may be wear as well: only a gland that was too tight
	// is likely to have been slackened.
	up := change > -math.Log(1-stepLeast) && s.BeforeDPM < v.cfg.DryDPM
	for _, one := range after { // it stays so: no hour is of before
		if s.beyond(one.DPM()) < 0 {
			return s, false
		}
	}
	return s, (down || up) && math.Abs(change) > stepScore*deviation && !v.drifting(before, change)
}

// drifting reports a change that is no step but the end of a slope.
func (v *view) drifting(before series, change float64) bool {
	half := len(before) / 2
	if half < 2 {
		return false
	}
	old, _ := sum(before[:half])
	late, _ := sum(before[half:])
	if old.Drops == 0 || late.Drops == 0 {
		return true
	}
	slope := math.Log(late.DPM() / old.DPM())
	return slope*change > 0 && math.Abs(slope) > math.Abs(change)/3
}

func sum(s series) (Bucket, float64) {
	var b Bucket
	if len(s) > 0 {
		b.From, b.To = s[0].From, s[len(s)-1].To
	}
	for _, one := range s {
		b.Watched += one.Watched
		b.Drops += one.Drops
	}
	return b, float64(b.Drops)
}
