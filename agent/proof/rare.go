package proof

import (
	"math"
	"math/rand/v2"

	"weepd/rules/weep"
)

// Rare estimates the rate of alarms that are too rare to count, by importance
// sampling. In each of so many stretches of N real drops the law changes to
// another one at a drop that is drawn evenly, so that an alarm is likely; what
// it weighs is the chance of its drops under the gland's own law over that
// under all such changes together:
//
//	P(alarm within N) = E[1{alarm at n} / mean over laws of (R_n + N - n)/N]
//
// with R_n = (1 + R_n-1) x likelihood ratio of drop n, the statistic of
// Shiryaev and Roberts. That holds for any rule of alarm, so the detector runs
// as it is, and several learn afresh.
func (e Edge) Rare(rng *rand.Rand, m *weep.Models, stretches int) Rate {
	const detectors = 4
	own, others := e.laws()
	var weight Mean
	for range detectors {
		s := e.newStream(rng, m)
		for s.drop < edgeLearned {
			s.fall(own)
		}
		for range stretches / detectors {
			s.settle(own)
			weight.add(e.sample(rng, s, own, others))
		}
	}
	perYear := own.rate * yearSeconds / stretch
	half := 1.96 * weight.Error * perYear
	return Rate{weight.Mean * perYear, max(0, weight.Mean*perYear-half), weight.Mean*perYear + half}
}

// sample plays one stretch and gives the weight of its alarm, 0 without one.
func (e Edge) sample(rng *rand.Rand, s *stream, own law, others []law) float64 {
	change := rng.IntN(stretch)
	other := others[rng.IntN(len(others))]
	odds := make([]float64, len(others)) // R of each law
	for n := range stretch {
		l := own
		if n >= change {
			l = other
		}
		f, a := s.fall(l)
		sum := 0.0
		for i, o := range others {
			odds[i] = (1 + odds[i]) * math.Exp(e.logRatio(f, a, o, own))
			sum += odds[i] + float64(stretch-n-1)
		}
		if a.raised {
			return stretch * float64(len(others)) / sum
		}
	}
	return 0
}

// logRatio is the log likelihood ratio of what is known of a drop when the alarm
// comes, or of all of it.
func (e Edge) logRatio(f fallen, a alarm, other, own law) float64 {
	if a.raised && !a.with {
		return e.logWaited(a.waited, other.rate) - e.logWaited(a.waited, own.rate)
	}
	return e.logFell(f, other) - e.logFell(f, own)
}

// logFell is the log likelihood of a drop under a law, up to a constant.
func (e Edge) logFell(f fallen, l law) float64 {
	v := e.Shape * (math.Log(l.rate) - l.rate*f.x)
	switch {
	case f.missed:
		v += math.Log(l.missed)
	case f.splash:
		v += math.Log(l.splash)
	default:
		v += math.Log(1 - l.missed - l.splash)
	}
	return v
}

// logWaited is the log chance that a drop has not fallen after so long.
func (e Edge) logWaited(seconds, rate float64) float64 {
	return logTail(e.Shape, e.Shape*rate*seconds)
}
