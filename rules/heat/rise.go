package heat

import (
	"math"
	"time"
)

// Rise follows one gland's temperature over its reference.
type Rise struct {
	Metal, Reference Probe
	count            int // of rises that are known, one after the other
	following
}

// following is what each rise changes.
type following struct {
	recent     [3]float64 // the last rises, °C, to drop a single odd one
	fast, slow float64    // the rise smoothed over a short and a long time, °C
	lagged     float64    // the reference as the gland's metal feels it, °C
	at         time.Duration
	refAt      time.Duration
	normal     float64 // rise while all was well, learned, °C
	normalFor  time.Duration
	gains      gains
}

const (
	fastTime = 20 * time.Second
	slowTime = 120 * time.Second
	// lagTime is how slowly a gland's metal follows its reference: of the order
	// of mass x heat capacity over what leaves through the metal; a recorded
	// warm-up shows 3 to 5 minutes, twice that is taken. Invented where nothing
	// is recorded; it only delays, and only while the reference moves.
	lagTime = 8 * time.Minute
	// normalTime is how slowly the normal rise is learned.
	normalTime = time.Hour
	// normalNeeds is how long it must have been learned to be used.
	normalNeeds = 10 * time.Minute
)

// NewRise makes a gland that has shown nothing yet.
func NewRise() Rise { return Rise{Metal: NewProbe(true), Reference: NewProbe(false)} }

// Known gives the rise in °C as published: gland minus reference, as read.
func (r *Rise) Known() (c float64, ok bool) {
	metal, ok1 := r.Metal.Usable()
	ref, ok2 := r.Reference.Usable()
	return metal - ref, ok1 && ok2
}

// Judged gives the rise in °C for the limit: the middle of the last three, over
// the higher of the reference and the reference as the metal feels it, so that
// a liquid that has just turned cold makes no heat.
func (r *Rise) Judged() (c float64, ok bool) {
	if _, known := r.Known(); !known || r.count < len(r.recent) {
		return 0, false
	}
	return r.middle(), true
}

func (f *following) middle() float64 {
	a, b, c := f.recent[0], f.recent[1], f.recent[2]
	return max(min(a, b), min(max(a, b), c))
}

// Update takes note of new readings of the probes; steady says that the gland
// turns and nothing is wrong, so that its rise may be learned as normal.
func (r *Rise) Update(at time.Duration, steady bool) {
	if _, ok := r.Known(); !ok {
		r.count = 0
		return
	}
	metal, _ := r.Metal.Usable()
	ref, _ := r.Reference.Usable()
	if r.count++; r.count == 1 {
		r.begin(at, metal, ref)
		return
	}
	r.follow(at, metal, ref, steady)
}

// begin starts with the first rise.
func (f *following) begin(at time.Duration, metal, ref float64) {
	f.lag(at, ref)
	rise := metal - max(ref, f.lagged)
	f.recent = [3]float64{rise, rise, rise}
	f.fast, f.slow, f.at = rise, rise, at
}

// follow takes the next rise.
func (f *following) follow(at time.Duration, metal, ref float64, steady bool) {
	f.lag(at, ref)
	rise := metal - max(ref, f.lagged)
	f.recent[0], f.recent[1], f.recent[2] = f.recent[1], f.recent[2], rise
	since := at - f.at
	f.at = at
	gains := f.gains.over(since)
	f.fast += (rise - f.fast) * gains.fast
	f.slow += (rise - f.slow) * gains.slow
	if !steady {
		return
	}
	if f.normalFor == 0 {
		f.normal = rise
	}
	f.normalFor += since
	f.normal += (rise - f.normal) * f.normalGain(since)
}

func (f *following) lag(at time.Duration, ref float64) {
	if f.refAt == 0 {
		f.lagged = ref
	} else {
		f.lagged += (ref - f.lagged) * f.gains.over(at-f.refAt).lag
	}
	f.refAt = at
}

// gain is 1-exp(-step/over), up to over by a Padé approximant that is good to
// 1e-5 and costs a tenth: steps that differ by a millisecond need one each.
func gain(step, over time.Duration) float64 {
	if over <= 0 {
		return 1
	}
	u := float64(step) / float64(over)
	if u > 1 {
		return -math.Expm1(-u)
	}
	return u * (120 + 2*u*u) / (120 + u*(60+u*(12+u)))
}

// Slope is how fast the rise grows, °C per minute. For a steady growth the two
// smoothed rises lag it by their own times, so their difference shows it.
func (r *Rise) Slope() float64 {
	return (r.fast - r.slow) / (slowTime - fastTime).Minutes()
}

// steadyC is how far the reference may be from what the metal feels of it, °C,
// for a fall of the rise to be the gland's own.
const steadyC = 1.0

// Steady reports that the reference has not moved lately.
func (r *Rise) Steady() bool {
	ref, ok := r.Reference.Usable()
	return ok && math.Abs(ref-r.lagged) < steadyC
}

// ToLimit is how long the rise needs to reach a limit at its present growth.
func (r *Rise) ToLimit(limitC float64) (time.Duration, bool) {
	rise, ok := r.Judged()
	if !ok || r.Slope() <= 0 {
		return 0, false
	}
	minutes := (limitC - rise) / r.Slope()
	if minutes > 1e6 {
		return 0, false
	}
	return time.Duration(max(0, minutes) * float64(time.Minute)), true
}

// Normal is the rise that the gland showed while all was well, in °C.
func (r *Rise) Normal() (c float64, ok bool) { return r.normal, r.normalFor >= normalNeeds }

// never is later than any time.
const never = time.Duration(math.MaxInt64)

// SilentAt is when the passing of time alone makes one of the probes faulty.
func (r *Rise) SilentAt() time.Duration {
	due := never
	for _, p := range []*Probe{&r.Metal, &r.Reference} {
		if at, ok := p.Deadline(); ok {
			due = min(due, at)
		}
	}
	return due
}

// Gap says that nothing was watched up to at.
func (r *Rise) Gap(at time.Duration) {
	r.Metal.Gap(at)
	r.Reference.Gap(at)
	r.count, r.refAt = 0, 0
}
