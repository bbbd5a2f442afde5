package rules

import (
	"container/heap"
	"fmt"
	"slices"
	"time"

	"weepd/rules/reading"
	"weepd/rules/upkeep"
	"weepd/rules/weep"
)

// MaxSilence is the longest stretch without any reading of the station that
// still counts as watched; a longer one is a gap: time in which nothing is
// known, not a silence of drops.
const MaxSilence = reading.MostApart

// Station is the core's whole state. It is not safe for concurrent use.
type Station struct {
	glands  []*gland
	byID    map[string]*gland
	models  *weep.Models
	agenda  agenda
	now     time.Duration
	begun   bool
	fresh   []Fresh
	retired map[string]*upkeep.Life // of glands that were left out
	window  window
	stuck   int // wakes after which a gland still wanted waking: always 0
}

// NewStation makes a station at rest; the first input sets its time.
func NewStation(cfg Config) (*Station, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	s := &Station{byID: make(map[string]*gland, len(cfg.Glands)), models: weep.NewModels()}
	for i, gc := range cfg.Glands {
		g := newGland(gc, i, s.models)
		s.glands = append(s.glands, g)
		s.byID[gc.ID] = g
		heap.Push(&s.agenda, g)
	}
	return s, nil
}

// NewStationOf makes a station of one gland of a configuration, which is as it is
// beside the others: glands know nothing of each other but the station's time.
// Stations with the same models are for one goroutine at a time.
func NewStationOf(cfg Config, id string, models *weep.Models) (*Station, error) {
	order := slices.IndexFunc(cfg.Glands, func(g GlandConfig) bool { return g.ID == id })
	if order < 0 {
		return nil, fmt.Errorf("gland %q is not in the configuration", id)
	}
	if err := (Config{Glands: cfg.Glands[order : order+1]}).Validate(); err != nil {
		return nil, err
	}
	g := newGland(cfg.Glands[order], order, models)
	return &Station{glands: []*gland{g}, byID: map[string]*gland{id: g}, models: models, agenda: agenda{g}}, nil
}

// Feed takes the next reading or mark and returns what became active or cleared up to
// and with it, in order of time. A reading older than the station's time is
// taken as of now; one of an unknown gland is an error and changes nothing.
func (s *Station) Feed(r reading.Reading) ([]Transition, error) {
	g, found := s.byID[r.Point.Gland]
	if !found {
		return nil, fmt.Errorf("reading of unknown point %s", r.Point)
	}
	return s.feed(g, r.At, r.Point.Kind, r.Value, r.Quality), nil
}

func (s *Station) feed(g *gland, at time.Duration, kind reading.Kind, value float64, q reading.Quality) (out []Transition) {
	if at < s.now || at >= s.agenda[0].due || at-s.now > MaxSilence || !s.begun {
		out = s.pass(at, nil)
		at = s.now
	}
	s.now = at
	if kind.Mark() {
		s.mark(g, kind, value, q)
		return s.collect(g, out)
	}
	if g.easy && q == reading.Good && g.takeEasily(at, kind, value) {
		if g.easy && !g.sooner() {
			return out
		}
	} else {
		g.take(at, kind, value, q)
	}
	return s.collect(g, out)
}

// Advance says that the station was watched up to at and nothing came. The
// outcome does not depend on how often it is called, as long as no stretch
// between inputs is longer than MaxSilence.
func (s *Station) Advance(at time.Duration) []Transition { return s.pass(at, nil) }

// Next says when the core wants Advance at the latest if no reading comes
// before. ok is false while nothing can happen by the passing of time alone.
func (s *Station) Next() (at time.Duration, ok bool) {
	if len(s.agenda) == 0 || s.agenda[0].due == never {
		return 0, false
	}
	return s.agenda[0].due, true
}

// pass moves the station's time on to at, gland by gland in order of deadlines.
func (s *Station) pass(at time.Duration, out []Transition) []Transition {
	if !s.begun {
		s.now, s.begun = at, true
		return out
	}
	if at <= s.now {
		return out
	}
	if at-s.now > MaxSilence {
		return s.skip(at, out)
	}
	for len(s.agenda) > 0 && s.agenda[0].due <= at {
		g := s.agenda[0]
		if due := g.later(); due > g.due {
			s.move(g, due)
			continue
		}
		s.now = max(s.now, g.due)
		g.wake(s.now)
		out = s.collect(g, out)
		if g.due <= s.now { // a fault of ours must not stop the station
			s.stuck++
			s.move(g, s.now+time.Second)
		}
	}
	s.now = at
	return out
}

// skip passes over a gap.
func (s *Station) skip(at time.Duration, out []Transition) []Transition {
	s.now = at
	for _, g := range s.glands {
		g.gap(at)
		out = s.collect(g, out)
	}
	return out
}

// collect takes a gland's transitions and puts its next deadline on the agenda.
func (s *Station) collect(g *gland, out []Transition) []Transition {
	if len(g.care.out) > 0 {
		out = append(out, g.care.out...)
		g.care.out = nil
	}
	for _, f := range g.care.fresh {
		s.addFresh(f)
	}
	g.care.fresh = nil
	s.schedule(g)
	return out
}

func (s *Station) schedule(g *gland) {
	if due := g.deadline(); due != g.due {
		s.move(g, due)
	}
}

// move gives a gland another place on the agenda.
func (s *Station) move(g *gland, due time.Duration) {
	g.due = due
	if len(s.agenda) > 1 {
		heap.Fix(&s.agenda, g.place)
	}
}

// Gland gives a gland as it stands at the station's time.
func (s *Station) Gland(id string) (GlandState, bool) {
	g, found := s.byID[id]
	if !found {
		return GlandState{}, false
	}
	return g.state(s.now), true
}

// GlandIDs gives the glands in the order of the configuration.
func (s *Station) GlandIDs() []string {
	ids := make([]string, len(s.glands))
	for i, g := range s.glands {
		ids[i] = g.cfg.ID
	}
	return ids
}

// agenda is a heap of glands by deadline, then by order.
type agenda []*gland

func (a agenda) Len() int { return len(a) }
func (a agenda) Less(i, j int) bool {
	return a[i].due < a[j].due || a[i].due == a[j].due && a[i].order < a[j].order
}
func (a agenda) Swap(i, j int) {
	a[i], a[j] = a[j], a[i]
	a[i].place, a[j].place = i, j
}

// Push is heap.Interface's.
func (a *agenda) Push(x any) {
	g := x.(*gland)
	g.place = len(*a)
	*a = append(*a, g)
}

// Pop is heap.Interface's.
func (a *agenda) Pop() any {
	last := len(*a) - 1
	g := (*a)[last]
	*a = (*a)[:last]
	return g
}
