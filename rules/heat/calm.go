package heat

import "time"

// A rise above calmShare of its limit is watched closely, as is one that would reach
// it within calmWithin at its present growth. No source; waiting costs a second.
const (
	calmShare  = 0.9
	calmWithin = 5 * time.Minute
)

// Calm reports that the rise is below its limit and not on its way there, and
// that the sensors may be believed, as far as there are any.
func (r *Rise) Calm(limitC float64) bool {
	if !r.Metal.calm() || !r.Reference.calm() {
		return false
	}
	rise, judged := r.Judged()
	left, rising := r.ToLimit(limitC)
	return !judged || rise < calmShare*limitC && !(rising && left <= calmWithin)
}

func (p *Probe) calm() bool { return !p.seen || p.usable && !p.faulty && p.badRows == 0 }
