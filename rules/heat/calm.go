package heat

import "time"

// A rise above calmShare of its limit is watched closely, as is one that would reach
// it within calmWithin at its present growth. No source; waiting costs a second.
const (
	calmShare  = 0.9
	calmWithin = 5 * time.Minute
)

// Calm reports that the rise is below its limit and not on its way there, not even by
// a single reading, and that the sensors may be believed, as far as there are any.
func (r *Rise) Calm(limitC float64) bool {
	if !r.Metal.calm() || !r.Reference.calm() {
		return false
	}
	for _, one := range r.recent[:min(r.count, len(r.recent))] {
		if one >= calmShare*limitC {
			return false
		}
	}
	left, rising := r.ToLimit(limitC)
	return !rising || left > calmWithin
}

func (p *Probe) calm() bool { return !p.seen || p.usable && !p.faulty && p.badRows == 0 }
