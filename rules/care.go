package rules

import (
	"fmt"
	"time"

	"weepd/rules/upkeep"
)

// care is what a gland's upkeep holds, and what waits to be fetched. Its bound is
// that of upkeep.Life and of a run-in's curve, beside the 4 KiB of the rest of a
// gland.
type care struct {
	unproven *unproven // nil: no agent started while something was active
	life     *upkeep.Life
	meter    meter
	found    upkeep.Judgement // the newest
	guide    *guide           // of the newest run-in; nil: none
	fresh    []Fresh
	out      []Transition
}

// Fresh is what a gland's upkeep has brought and a shell should keep: the weep of
// an hour that is over, a step that nobody recorded, or a run-in that has ended.
type Fresh struct {
	Gland  string
	Bucket *upkeep.Bucket
	Step   *upkeep.Step  // to be given its seq by NumberStep
	RunIn  *upkeep.RunIn // over
}

// freshMost bounds what nobody fetches, as in a replay: the oldest falls off.
const freshMost = 4096

// TakeFresh gives what is fresh since the last call, in order.
func (s *Station) TakeFresh() []Fresh {
	list := s.fresh
	s.fresh = nil
	return list
}

func (s *Station) addFresh(f Fresh) {
	if len(s.fresh) >= freshMost {
		s.fresh = append(s.fresh[:0], s.fresh[freshMost/2:]...)
	}
	s.fresh = append(s.fresh, f)
}

// Record takes an entry of a gland's upkeep and returns what became active or
// cleared by it. An entry of before now is put where it belongs. A repacking
// begins a run-in, and taking it back ends it. An unknown gland is an error and
// changes nothing.
func (s *Station) Record(gland string, e upkeep.Entry) ([]Transition, error) {
	g, found := s.byID[gland]
	if !found {
		return nil, fmt.Errorf("entry of unknown gland %s", gland)
	}
	s.record(g, e)
	return s.collect(g, nil), nil
}

func (s *Station) record(g *gland, e upkeep.Entry) {
	g.easy = false
	g.care.life.Record(e)
	if g.care.meter.begun {
		g.closeBucket(s.now, false)
		if s.now-e.At < upkeep.Settling { // what comes now is not what comes then
			g.care.meter.next = e.At + upkeep.Settling
		}
	}
	if e.Kind == upkeep.Repacked || e.Kind == upkeep.Corrected {
		s.followRepacking(g)
	}
	if g.shaft.begun {
		g.judgeUpkeep(s.now)
	}
}

// Restore gives a gland back what was known of its upkeep before a restart.
// Nothing is raised by it before the first readings.
func (s *Station) Restore(gland string, entries []upkeep.Entry, weeps []upkeep.Bucket) error {
	g, found := s.byID[gland]
	if !found {
		return fmt.Errorf("upkeep of unknown gland %s", gland)
	}
	g.care.life = upkeep.NewLife(g.upkeepConfig())
	for _, e := range entries {
		g.care.life.Record(e)
	}
	for _, b := range weeps {
		g.care.life.Observe(b, 1)
	}
	if g.care.meter.begun { // restored late, under way
		g.care.meter.next = s.now + firstLook
		s.schedule(g)
	}
	return nil
}

// NumberStep gives a step that was fresh the seq under which it is offered.
func (s *Station) NumberStep(gland string, at time.Duration, seq uint64) {
	if g, found := s.byID[gland]; found {
		g.care.life.Number(at, seq)
	}
}

// Upkeep says what is known of a gland's upkeep at the station's time.
func (s *Station) Upkeep(gland string) (*upkeep.State, bool) {
	g, found := s.byID[gland]
	if !found {
		return nil, false
	}
	state := g.care.life.Assess(s.now)
	state.RunIn = g.runInState()
	return state, true
}

// Entry gives one entry or offer of a gland as it stands.
func (s *Station) Entry(gland string, seq uint64) (upkeep.Entry, bool) {
	g, found := s.byID[gland]
	if !found {
		return upkeep.Entry{}, false
	}
	return g.care.life.Find(seq)
}

func (g *gland) bring(f Fresh) { g.care.fresh = append(g.care.fresh, f) }

func (g *gland) upkeepConfig() upkeep.Config {
	l := g.cfg.Limits
	return upkeep.Config{NormalDPM: g.cfg.NormalDPM, DryDPM: l.DryDPM, LeakDPM: l.LeakDPM, Nuts: g.cfg.Nuts}
}

// meterWeep takes the time up to at for the upkeep and closes what is over.
func (g *gland) meterWeep(at time.Duration) {
	if !g.care.meter.begun {
		g.care.meter.begin(at, g.order)
	}
	g.care.meter.pass(at)
	g.care.meter.counting = g.metered()
	if due, ok := g.care.meter.deadline(); ok && at >= due {
		g.closeBucket(at, true)
		g.judgeUpkeep(at)
	}
}

// closeBucket hands the weep of the time that is over to the upkeep. Steps are
// looked for with each full bucket.
func (g *gland) closeBucket(at time.Duration, look bool) {
	g.observe(g.care.meter.close(at))
	if !look {
		return
	}
	if step, found := g.care.life.LookForStep(at); found {
		g.care.life.Record(upkeep.Entry{At: step.At, Kind: upkeep.Noticed, Value: upkeep.Value{Before: step.BeforeDPM, After: step.AfterDPM}})
		g.bring(Fresh{Gland: g.cfg.ID, Step: &step})
	}
}

func (g *gland) observe(b upkeep.Bucket) {
	if b.Watched == 0 {
		return
	}
	g.care.life.Observe(b, g.detect.Shape())
	g.bring(Fresh{Gland: g.cfg.ID, Bucket: &b})
}

// judgeUpkeep settles the conditions that the upkeep shows. Without an adjustment
// there are none.
func (g *gland) judgeUpkeep(at time.Duration) {
	state := upkeep.Judgement{}
	if g.care.life.Adjusted() {
		state = g.care.life.Judge(at)
	}
	g.care.found = state
	g.want(at, AdjustmentIneffective, state.Ineffective, false)
	g.want(at, RepackDue, state.RepackDue, false)
}
