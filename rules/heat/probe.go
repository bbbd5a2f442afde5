// Package heat judges temperatures: whether a sensor may be believed, the rise
// of a gland over its reference, and how soon that rise reaches its limit.
package heat

import (
	"math"
	"time"

	"weepd/rules/reading"
)

// Probe watches one temperature sensor.
type Probe struct {
	jumps    bool            // an impossible rate of change counts as a fault
	seen     bool            // any reading came
	usable   bool            // the last reading may be used
	faulty   bool            // not to be believed
	fault    reading.Quality // of the last bad reading
	cause    Cause
	last     float64
	lastAt   time.Duration
	rowAt    time.Duration // last reading of any quality
	every    time.Duration // usual time between readings
	badSince time.Duration
	badRows  int
	okSince  time.Duration
	same     int     // readings in a row that did not change at all
	stirs    float64 // share of readings that changed, learned
	learned  int     // readings that taught it
	suspect  float64 // a value that jumped, waiting to be confirmed
}

// Cause says why a sensor is not believed.
type Cause uint8

// The causes.
const (
	NoCause  Cause = iota
	Reported       // the sensor or its converter reported a fault
	Silent         // readings stopped
	Stuck          // the value froze where it used to stir
	Jumped         // it changed faster than metal can
)

const (
	// believeAfter is how long readings must be bad before a fault is raised,
	// and good before it is cleared.
	believeAfter = 60 * time.Second
	// minSilent is the least time without a reading that counts as silence.
	minSilent = 2 * time.Minute
	// usualGaps times the usual time between readings counts as silence too.
	usualGaps = 6
	// confirmJump is how long a new level must hold before it is believed: a
	// sensor moved or put back.
	confirmJump = 3 * time.Minute
	// jumpC and jumpCPerSecond bound what a gland's metal can do: friction of
	// 894 W (shaft 50 mm, 1450 rpm, .3 MPa, coefficient .1) into 1 kg of steel at
	// about 460 J/(kg K) (from memory) gives 1.9 °C/s at the rubbing face itself,
	// less where a sensor sits.
	jumpC          = 10.0
	jumpCPerSecond = 2.0
	// stuckOdds: a run of equal values is a fault when its chance, with the
	// share of changes that the sensor showed before, is below exp(-stuckOdds).
	stuckOdds    = 25.0
	stuckLearned = 200 // readings before that share is trusted
	stirsMemory  = 1000
	sameTaught   = 20
	// lowestC and highestC bound what a gland can have: outside, a wire is broken
	// or shorted. Below the freezing of any seal water, above any packing (from
	// memory; graphite packings are sold for more, in gas).
	lowestC  = -50.0
	highestC = 400.0
)

// NewProbe makes a probe; jumps says whether the medium cannot change quickly
// (metal), as against a liquid that may.
func NewProbe(jumps bool) Probe { return Probe{jumps: jumps} }

// Fitted reports whether any reading ever came.
func (p *Probe) Fitted() bool { return p.seen }

// Usable gives the value in °C when it may be used.
func (p *Probe) Usable() (c float64, ok bool) { return p.last, p.usable && !p.faulty }

// Quality is why the value may not be used.
func (p *Probe) Quality() reading.Quality {
	if _, ok := p.Usable(); ok || !p.seen {
		return reading.Good
	}
	if p.fault.OK() {
		return reading.Fault
	}
	return p.fault
}

// Faulty reports whether the sensor is not to be believed, and why.
func (p *Probe) Faulty() (Cause, bool) { return p.cause, p.faulty }

// Read takes a reading and reports whether it may be used.
func (p *Probe) Read(at time.Duration, c float64, q reading.Quality) bool {
	p.pace(at)
	if !q.OK() {
		return p.bad(at, q, Reported)
	}
	if math.IsNaN(c) || math.IsInf(c, 0) {
		return p.bad(at, reading.Garbled, Reported)
	}
	if c < lowestC || c > highestC {
		return p.bad(at, reading.OutOfRange, Reported)
	}
	if p.jumped(at, c) {
		return p.bad(at, reading.OutOfRange, Jumped)
	}
	if p.stuck(c) {
		p.last, p.lastAt = c, at
		return p.bad(at, reading.Fault, Stuck)
	}
	p.good(at, c)
	return p.usable && !p.faulty
}

func (p *Probe) pace(at time.Duration) {
	if p.seen {
		gap := at - p.rowAt
		if p.every == 0 {
			p.every = gap
		}
		p.every += (gap - p.every) / 8
	}
	p.rowAt, p.seen = at, true
}

func (p *Probe) bad(at time.Duration, q reading.Quality, cause Cause) bool {
	if p.badRows == 0 {
		p.badSince = at
	}
	p.badRows++
	p.usable, p.fault = false, q
	if !p.faulty {
		p.cause = cause
	}
	if p.badRows > 1 && at-p.badSince >= believeAfter {
		p.faulty, p.cause = true, cause
	}
	return false
}

func (p *Probe) good(at time.Duration, c float64) {
	if !p.usable {
		p.okSince = at
	}
	p.last, p.lastAt = c, at
	p.usable, p.badRows = true, 0
	if p.faulty && at-p.okSince >= believeAfter {
		p.faulty, p.cause = false, NoCause
	}
}

// jumped reports a change that metal cannot make, until the new level has held.
func (p *Probe) jumped(at time.Duration, c float64) bool {
	if !p.jumps || p.lastAt == 0 {
		return false
	}
	if !impossible(c-p.last, at-p.lastAt) {
		return false
	}
	if p.cause != Jumped || p.badRows == 0 || impossible(c-p.suspect, p.every) {
		if p.cause == Jumped {
			p.badRows = min(p.badRows, 1)
		}
		p.suspect = c
		return true
	}
	p.suspect = c
	return at-p.badSince < confirmJump
}

func impossible(changeC float64, in time.Duration) bool {
	size := math.Abs(changeC)
	return size > jumpC && size > jumpCPerSecond*in.Seconds()
}

// stuck learns how often the value stirs and reports a freeze.
func (p *Probe) stuck(c float64) bool {
	if p.lastAt == 0 {
		return false
	}
	if c != p.last {
		p.same = 0
		p.stirs += (1 - p.stirs) * stirShare(p.learned)
		p.learned++
		return false
	}
	p.same++
	if p.learned >= stuckLearned && float64(p.same)*-math.Log1p(-p.stirs) > stuckOdds {
		return true
	}
	if p.same < sameTaught { // a freeze must not teach that the sensor never stirs
		p.stirs += (0 - p.stirs) * stirShare(p.learned)
		p.learned++
	}
	return false
}

// stirShare is the weight of a reading after so many that taught.
func stirShare(learned int) float64 {
	if learned >= stirsMemory-1 {
		return 1.0 / stirsMemory
	}
	return 1 / float64(learned+1)
}

// Deadline is when the passing of time alone makes the sensor faulty.
func (p *Probe) Deadline() (at time.Duration, ok bool) {
	if !p.seen || p.faulty {
		return 0, false
	}
	return p.rowAt + p.silence(), true
}

func (p *Probe) silence() time.Duration { return max(minSilent, usualGaps*p.every) }

// Wait says that time passed up to at, a Deadline.
func (p *Probe) Wait(at time.Duration) {
	if deadline, ok := p.Deadline(); ok && at >= deadline {
		p.faulty, p.usable = true, false
		p.cause, p.fault = Silent, reading.NoAnswer
		p.badRows++
		p.badSince = p.rowAt
	}
}

// Gap says that nothing was watched up to at: silence before it proves nothing.
func (p *Probe) Gap(at time.Duration) {
	p.rowAt = max(p.rowAt, at)
	p.lastAt, p.same = 0, 0
	p.badRows = 0
}
