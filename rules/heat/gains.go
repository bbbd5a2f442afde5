package heat

import "time"

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
func (f *following) normalGain(step time.Duration) float64 {
	if f.normalFor >= normalTime {
		return f.gains.over(step).longest
	}
	return gain(step, f.normalFor)
}
