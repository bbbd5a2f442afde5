package heat

import (
	"math"
	"time"
)

// Steady takes a good reading as Read does, if it is one of a long row of
// ordinary ones: nothing but the value and what is learned changes, and the
// deadline only moves away. Not ok means that nothing was done.
func (p *Probe) Steady(at time.Duration, c float64) bool {
	every := p.every + (at-p.rowAt-p.every)/8
	if !p.usable || p.faulty || p.badRows != 0 || p.lastAt == 0 || p.every == 0 ||
		max(p.every, every) > minSilent/usualGaps || p.same >= sameTaught-1 || p.maybeStuck(p.same+1) ||
		!(math.Abs(c-p.last) <= jumpC) || !(c >= lowestC && c <= highestC) {
		return false
	}
	p.every, p.rowAt = every, at
	// As stuck does, without asking whether the value changed: nobody can guess.
	// Nought is added because it comes with two signs.
	differs := math.Float64bits(c+0) ^ math.Float64bits(p.last+0)
	changed := int((differs | -differs) >> 63)
	p.stirs += (float64(changed) - p.stirs) / float64(min(p.learned+1, stirsMemory))
	p.learned, p.same = p.learned+1, (p.same+1)&(changed-1)
	p.last, p.lastAt = c, at
	return true
}

// maybeStuck is stuck's question for so many equal readings without its
// logarithm: -ln(1-x) is at most x/(1-x), so no is certain.
func (p *Probe) maybeStuck(same int) bool {
	return p.learned >= stuckLearned && !(float64(same)*p.stirs < 0.99*stuckOdds*(1-p.stirs))
}

// gains are the shares by which the smoothed values follow in one step.
type gains struct {
	step                     time.Duration
	fast, slow, lag, longest float64
}

// over gives the gains for a step; readings come at nearly always the same.
func (g *gains) over(step time.Duration) *gains {
	if step != g.step {
		g.find(step)
	}
	return g
}

func (g *gains) find(step time.Duration) {
	*g = gains{step, gain(step, fastTime), gain(step, slowTime), gain(step, lagTime), gain(step, normalTime)}
}

// normalGain is the share by which the normal rise follows after a step.
func (r *Rise) normalGain(step time.Duration) float64 {
	if r.normalFor >= normalTime {
		return r.gains.over(step).longest
	}
	return gain(step, r.normalFor)
}
