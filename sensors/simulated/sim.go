package simulated

import (
	"time"

	"weepd/rules/reading"
)

// Sim gives the readings of a simulated station in order of time, as fast as
// they are asked for. It is not safe for concurrent use.
type Sim struct {
	glands []*gland
	due    []int64 // of each gland
}

// NewSim makes a station whose events count from start, on a steady clock
// (reading.Reading.At); its first readings lie s.Past before that.
func NewSim(s Station, start time.Duration) (*Sim, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	sim := &Sim{}
	for _, cfg := range s.Glands {
		g := newGland(cfg.withDefaults(), s.Seed, int64(start-s.Past), int64(start))
		sim.glands = append(sim.glands, g)
		sim.due = append(sim.due, g.due())
	}
	return sim, nil
}

// Next gives the next reading. There is no end.
func (s *Sim) Next() reading.Reading {
	for {
		first := 0
		for i, at := range s.due {
			if at < s.due[first] {
				first = i
			}
		}
		r, ok := s.glands[first].next(s.due[first])
		s.due[first] = s.glands[first].due()
		if ok {
			return r
		}
	}
}
