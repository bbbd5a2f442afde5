package rules

import (
	"time"

	"weepd/rules/reading"
)

// shaft is what is known of whether the shaft turns.
type shaft struct {
	begun    bool // since is set
	known    bool // a run signal came
	turns    bool // as it says, or assumed without one
	belied   bool // it says at rest, the heat says otherwise
	quality  reading.Quality
	since    time.Duration // turning or at rest since
	graceEnd time.Duration
	coolest  float64 // least rise seen at rest, °C
	cooled   bool    // coolest is set
	armed    bool    // the grace is over
}

// begin assumes a turning shaft until a run signal says otherwise: without one
// a gland must not burn unseen.
func (s *shaft) begin(at, grace time.Duration) {
	s.begun, s.turns, s.since, s.graceEnd = true, true, at, at+grace
}

func (s *shaft) set(at time.Duration, turns bool, grace time.Duration) {
	s.known, s.turns, s.since, s.graceEnd = true, turns, at, at+grace
	s.belied, s.cooled, s.armed = false, false, false
}

// turning reports whether the shaft is taken to turn.
func (s *shaft) turning() bool { return s.turns || s.belied }

// waiting reports whether a start's grace still runs.
func (s *shaft) waiting() bool { return s.turning() && !s.armed }

// matters reports whether too little weep matters: turning, and the film has
// had time to form.
func (s *shaft) matters(at time.Duration) bool {
	if s.turning() && at >= s.graceEnd {
		s.armed = true
	}
	return s.turning() && s.armed
}

// settleTime is how long after a start a gland is warm: recorded warm-ups level
// off within about ten minutes (invented otherwise); nothing is learned before.
const settleTime = 15 * time.Minute

func (s *shaft) settled(at time.Duration) bool {
	return s.turning() && at-s.since >= settleTime
}

const (
	// A gland that heats while its shaft is said to be at rest: so much (°C),
	// so fast (°C a minute), so long after the stop that no heat soaks out of
	// the pump any more. No source; larger than any day's warming.
	beliedRiseC = 5.0
	beliedSlope = 0.3
	soakTime    = 5 * time.Minute
)

// contradict compares a run signal that says at rest with the heat, and reports
// whether that changed what is believed.
func (s *shaft) contradict(at time.Duration, riseC, slope, limitC float64) (changed bool) {
	if s.turns || at-s.since < soakTime {
		return false
	}
	if !s.cooled || riseC < s.coolest {
		s.coolest, s.cooled = riseC, true
	}
	was := s.belied
	above := riseC - s.coolest
	switch {
	case above > max(beliedRiseC, 0.2*limitC) && slope > beliedSlope:
		s.belied = true
	case above < beliedRiseC/2:
		s.belied = false
	}
	if s.belied && !was {
		s.since, s.graceEnd, s.armed = at, at, false
	}
	return s.belied != was
}

func (s *shaft) gap(at time.Duration) {
	s.since = at
	s.graceEnd = min(s.graceEnd, at)
	s.cooled = false
}

// state is the shaft as published.
func (s *shaft) state() Quantity {
	q := Quantity{Known: s.begun, Quality: reading.Inferred}
	if s.known && !s.belied && s.quality.OK() {
		q.Quality = s.quality
	}
	if s.turning() {
		q.Value = 1
	}
	return q
}
