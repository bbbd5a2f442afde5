package heat

import (
	"math"
	"sort"
	"time"

	"weepd/rules/reading"
)

// Temperatures come in long rows of ordinary ones: nothing but the value and what
// is learned changes with them, and deadlines only move away. Here the time of a
// replay goes, so there is a way for many at once.

// pace is what an ordinary reading changes of a probe.
type pace struct {
	last, stirs float64
	rowAt       time.Duration
	every       time.Duration
	silentAt    time.Duration // Probe.Deadline, or never
	same        int
	learned     int
	calm        bool
}

// usualMost is the longest usual time between readings at which minSilent is the
// silence that counts.
const usualMost = minSilent / usualGaps

// pacing gives what ordinary readings change; not calm: none can come.
func (p *Probe) pacing() pace {
	silent, waits := p.Deadline()
	if !waits {
		silent = never
	}
	calm := p.usable && !p.faulty && p.badRows == 0 && p.lastAt != 0 && p.every != 0 && p.every <= usualMost
	return pace{p.last, p.stirs, p.rowAt, p.every, silent, p.same, p.learned, calm}
}

func (p *Probe) keep(s *pace) {
	p.last, p.stirs, p.rowAt, p.lastAt = s.last, s.stirs, s.rowAt, s.rowAt
	p.every, p.same, p.learned = s.every, s.same, s.learned
}

// take takes the readings of one kind as Probe.Read does, as long as they are
// ordinary, and says at which of all it ended.
func (s *pace) take(warms []reading.Warm, kind reading.Kind) (n int) {
	last, stirs, rowAt, every, same, learned := s.last, s.stirs, s.rowAt, s.every, s.same, s.learned
	taken := learned
	for ; n < len(warms); n++ {
		w := &warms[n]
		if w.Kind != kind {
			continue
		}
		gap, c := w.At-rowAt, w.C
		every += (gap - every) / 8
		if !s.calm || gap >= minSilent || every > usualMost || same >= sameTaught-1 || maybeStuck(same+1, learned, stirs) ||
			!(math.Abs(c-last) <= jumpC) || !(c >= lowestC && c <= highestC) {
			break
		}
		rowAt, s.every = w.At, every
		// As stuck does, without asking whether the value changed: nobody can guess.
		// Nought is added because it comes with two signs.
		differs := math.Float64bits(c+0) ^ math.Float64bits(last+0)
		changed := int((differs | -differs) >> 63)
		stirs += (float64(changed) - stirs) * stirShare(learned)
		learned, same = learned+1, (same+1)&(changed-1)
		last = c
	}
	s.last, s.stirs, s.rowAt, s.same, s.learned = last, stirs, rowAt, same, learned
	if learned > taken {
		s.silentAt = rowAt + minSilent
	}
	return n
}

// maybeStuck is stuck's question for so many equal readings without its logarithm:
// -ln(1-x) is at most x/(1-x), so no is certain.
func maybeStuck(same, learned int, stirs float64) bool {
	return learned >= stuckLearned && !(float64(same)*stirs < 0.99*stuckOdds*(1-stirs))
}

// Bounds say how far Glide may go.
type Bounds struct {
	Drops   int           // it stops at a temperature with so many drops before it,
	Until   time.Duration // or at this time,
	LimitC  float64       // or with one that brings the judged rise up to this.
	Settled time.Duration // from here on the normal rise is learned
}

// Glide takes temperatures as Read and Update do, as long as they are ordinary. It
// says how many, and whether the last of them brought the rise up to its limit.
func (r *Rise) Glide(warms []reading.Warm, b Bounds) (n int, hot bool) {
	n = sort.Search(len(warms), func(i int) bool { return int(warms[i].After) >= b.Drops || warms[i].At >= b.Until })
	_, known := r.Reference.Usable()
	for n > 0 {
		metal, reference, f := r.Metal.pacing(), r.Reference.pacing(), r.following
		metal.calm = metal.calm && (!known || r.count >= len(r.recent) && f.refAt == f.at)
		goes := reference.take(warms[:n], reading.Ref)
		goes = metal.take(warms[:goes], reading.Temp)
		for silent := min(metal.silentAt, reference.silentAt); goes > 0 && warms[goes-1].At >= silent; {
			goes--
		}
		if goes == n && known {
			goes, hot = f.followAll(warms[:n], r.Reference.last, b)
		}
		if goes == n {
			r.settle(&metal, &reference, &f, known)
			return n, hot
		}
		n = goes // once more, as far as that
	}
	return 0, false
}

// settle keeps what Glide found.
func (r *Rise) settle(metal, reference *pace, f *following, known bool) {
	if reference.learned > r.Reference.learned {
		r.Reference.keep(reference)
	}
	metals := metal.learned - r.Metal.learned
	switch {
	case metals == 0:
		return
	case known:
		r.count += metals
	default:
		r.count = 0
	}
	r.Metal.keep(metal)
	r.following = *f
}
