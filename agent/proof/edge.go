package proof

import (
	"math"
	"math/rand/v2"

	"weepd/rules/weep"
)

// Edge is a gland that stays on one edge of the promised band, where false
// alarms are most likely.
type Edge struct {
	Low    bool    `json:"low"` // the lower edge
	DPM    float64 `json:"dpm"`
	Shape  float64 `json:"shape"`
	Odd    float64 `json:"odd"`    // share of splashes, and of missed drops
	Budget float64 `json:"budget"` // false alarms a year
}

// Rate is a number of alarms a year with the limits of its 95 % interval.
type Rate struct {
	PerYear float64 `json:"per_year"`
	Low95   float64 `json:"low95"`
	High95  float64 `json:"high95"`
}

const (
	edgeLearned = 48 * 3600.0 // s that a detector learns before anything is counted
	burnIn      = 150         // real drops before each stretch
	stretch     = 600         // real drops in which an alarm is looked for
)

func (e Edge) config() weep.Config {
	if e.Low {
		limit := e.DPM / weep.Margin
		return weep.Config{DryDPM: limit, LeakDPM: 10 * limit, GushDPM: 30 * limit, FalseAlarmsPerYear: e.Budget}
	}
	limit := e.DPM * weep.Margin
	return weep.Config{DryDPM: limit / 10, LeakDPM: limit, GushDPM: 8 * limit, FalseAlarmsPerYear: e.Budget}
}

// law is what drops may follow: the gland's own, or another under which false
// alarms are common.
type law struct {
	rate, splash, missed float64
}

// laws gives the gland's own and those used for sampling: the levels that the
// detector looks for, also with more of the odd drops that mislead it.
func (e Edge) laws() (own law, others []law) {
	own = law{e.DPM / 60, e.Odd, e.Odd}
	ratios := []float64{0.75, 0.55, 0.35, 0.12}
	if !e.Low {
		ratios = []float64{1.35, 1.65, 2.2, 4}
	}
	for _, r := range ratios {
		others = append(others, law{own.rate * r, own.splash, own.missed})
	}
	if e.Odd == 0 {
		return own, others
	}
	for _, r := range append(ratios[:3:3], 1) {
		if e.Low {
			others = append(others, law{own.rate * r, own.splash, 0.3})
		} else {
			others = append(others, law{own.rate * r, 0.3, own.missed})
		}
	}
	return own, others
}

// stream is a detector fed with real drops one at a time.
type stream struct {
	rng    *rand.Rand
	unit   gammaUnit
	d      *weep.Detector
	low    bool
	drop   float64 // s, the last real drop
	splash float64 // s, due; +Inf = none
}

func (e Edge) newStream(rng *rand.Rand, m *weep.Models) *stream {
	s := &stream{rng: rng, unit: newGammaUnit(e.Shape), d: weep.NewDetector(e.config(), m), low: e.Low, splash: math.Inf(1)}
	s.d.Restart(0)
	s.d.Arm(0, true)
	return s
}

func (s *stream) out() bool {
	low, high, _ := s.d.Out()
	return s.low && low || !s.low && high
}

// fallen is one real drop: its interval, and what the sensor made of it.
type fallen struct {
	x              float64
	missed, splash bool
}

// alarm is when an alarm came: so long after the drop before it; with says that
// it came with the drop that ends the interval.
type alarm struct {
	raised bool
	waited float64 // s
	with   bool
}

// fall lets a drop fall by a law.
func (s *stream) fall(l law) (f fallen, a alarm) {
	f.x = s.unit.draw(s.rng) / l.rate
	u := s.rng.Float64()
	f.missed, f.splash = u < l.missed, u > 1-l.splash
	from, next := s.drop, s.drop+f.x
	s.drop = next
	if s.splash < next {
		at := s.splash
		s.splash = math.Inf(1)
		s.pass(at, from, true, &a)
	}
	if f.splash {
		s.splash = min(s.splash, next+splashFirst+(splashLast-splashFirst)*s.rng.Float64())
	}
	a.with = s.pass(next, from, !f.missed, &a)
	return f, a
}

// pass passes time to at, where a drop may be counted, and takes note of an
// alarm on the way or there, and reports whether the drop raised it.
func (s *stream) pass(at, from float64, counted bool, a *alarm) (there bool) {
	was := s.out()
	note := func(now float64) bool {
		if was || !s.out() {
			return false
		}
		a.raised, a.waited, was = true, now-from, true
		return true
	}
	t := steady(at)
	for dead, ok := s.d.Deadline(); ok && dead < t; dead, ok = s.d.Deadline() {
		s.d.Silent(dead)
		note(dead.Seconds())
	}
	if !counted {
		return false
	}
	s.d.Drops(t, 1)
	return note(at)
}

// settle passes time in the band until no alarm stands and the start of the
// next stretch owes nothing to what came before.
func (s *stream) settle(own law) {
	for quiet := 0; quiet < burnIn; quiet++ {
		if s.fall(own); s.out() {
			quiet = 0
		}
	}
}

// Plain counts the alarms of some years.
func (e Edge) Plain(rng *rand.Rand, m *weep.Models, years float64) Rate {
	s := e.newStream(rng, m)
	own, _ := e.laws()
	for s.drop < edgeLearned {
		s.fall(own)
	}
	alarms, watched := 0.0, 0.0
	for watched < years*yearSeconds {
		if s.out() {
			s.fall(own)
			continue
		}
		f, a := s.fall(own)
		watched += f.x
		if a.raised {
			alarms++
		}
	}
	r := weep.Limits(alarms, watched/yearSeconds, 1)
	return Rate{r.DPM, r.LowDPM, r.HighDPM}
}
