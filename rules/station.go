package rules

import (
	"fmt"
	"time"

	"weepd/rules/reading"
)

// MaxSilence is the longest stretch without any reading of the station that
// still counts as watched; a longer one is a gap: time in which nothing is
// known, not a silence of drops.
const MaxSilence = 60 * time.Second

// Station is the core's whole state. It is not safe for concurrent use.
type Station struct {
	glands []*gland
	byID   map[string]*gland
	now    time.Duration
}

type gland struct {
	cfg   GlandConfig
	state GlandState
}

// NewStation makes a station at rest; the first input sets its time.
func NewStation(cfg Config) (*Station, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	s := &Station{byID: make(map[string]*gland, len(cfg.Glands))}
	for _, gc := range cfg.Glands {
		g := &gland{cfg: gc, state: GlandState{ID: gc.ID}}
		s.glands = append(s.glands, g)
		s.byID[gc.ID] = g
	}
	return s, nil
}

// Feed takes the next reading and returns what became active or cleared up to
// and with it, in order of time. A reading older than the station's time is
// taken as of now; one of an unknown gland is an error and changes nothing.
func (s *Station) Feed(r reading.Reading) ([]Transition, error) {
	if _, found := s.byID[r.Point.Gland]; !found {
		return nil, fmt.Errorf("reading of unknown point %s", r.Point)
	}
	return nil, nil
}

// Advance says that the station was watched up to at and nothing came. The
// outcome does not depend on how often it is called, as long as no stretch
// between inputs is longer than MaxSilence.
func (s *Station) Advance(at time.Duration) []Transition { return nil }

// Next says when the core wants Advance at the latest if no reading comes
// before. ok is false while nothing can happen by the passing of time alone.
func (s *Station) Next() (at time.Duration, ok bool) { return 0, false }

// Gland gives a gland as it stands at the station's time.
func (s *Station) Gland(id string) (GlandState, bool) {
	g, found := s.byID[id]
	if !found {
		return GlandState{}, false
	}
	return g.state, true
}

// GlandIDs gives the glands in the order of the configuration.
func (s *Station) GlandIDs() []string {
	ids := make([]string, len(s.glands))
	for i, g := range s.glands {
		ids[i] = g.cfg.ID
	}
	return ids
}
