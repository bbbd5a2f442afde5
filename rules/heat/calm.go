package heat

import "time"

// calmShare of its limit, below which the promise against false alarms holds, and
// calmWithin is as much time as judging an early heat takes into account.
const (
	calmShare  = 0.8
	calmWithin = 5 * time.Minute
)

// Calm reports that the rise is well below its limit and not on its way there, and
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
