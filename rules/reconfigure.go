package rules

import (
	"container/heap"
	"time"

	"weepd/rules/heat"
	"weepd/rules/reading"
	"weepd/rules/upkeep"
	"weepd/rules/weep"
)

// Reconfigure puts another configuration in force at a time and returns what
// became active or cleared by it. Glands keep what they have learned and what is
// active; the same configuration changes nothing. New glands begin unlearned,
// those left out are forgotten without a word, but for their upkeep, should they
// come back. A configuration at fault changes nothing.
func (s *Station) Reconfigure(at time.Duration, cfg Config) ([]Transition, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	out := s.pass(at, nil)
	s.glands, s.agenda = nil, nil
	before := s.byID
	s.byID = make(map[string]*gland, len(cfg.Glands))
	for i, gc := range cfg.Glands {
		g, known := before[gc.ID]
		if !known {
			g = newGland(gc, i, s.models)
			s.comeBack(g)
		}
		g.order = i
		s.glands = append(s.glands, g)
		s.byID[gc.ID] = g
		heap.Push(&s.agenda, g)
	}
	s.retire(before)
	for i, g := range s.glands {
		if g.cfg != cfg.Glands[i] {
			g.reconfigure(s.now, cfg.Glands[i])
			out = s.collect(g, out)
		}
	}
	return out, nil
}

// retiredMost bounds the upkeep that is kept of glands that were left out: a slip
// of the pen must not cost what took months to see.
const retiredMost = 32

// retire keeps the upkeep of the glands that are no more.
func (s *Station) retire(before map[string]*gland) {
	for id, g := range before {
		if _, stays := s.byID[id]; !stays && len(s.retired) < retiredMost {
			if s.retired == nil {
				s.retired = make(map[string]*upkeep.Life)
			}
			s.retired[id] = g.care.life
		}
	}
}

// comeBack gives a gland the upkeep that it had.
func (s *Station) comeBack(g *gland) {
	if life, known := s.retired[g.cfg.ID]; known {
		life.Configure(g.upkeepConfig())
		g.care.life = life
		delete(s.retired, g.cfg.ID)
	}
}

func (g *gland) reconfigure(at time.Duration, cfg GlandConfig) {
	g.easy = false
	old, leak := g.cfg, g.leakLimit()
	g.cfg = cfg
	g.care.life.Configure(g.upkeepConfig())
	g.moveDelays(old.Timing, at)
	if cfg.Limits != old.Limits {
		g.detect.Reconfigure(at, detectorConfig(cfg.Limits))
	}
	if g.leakLimit() != leak {
		g.setLeak(at)
	}
	for kind, fitted := range old.Fitted {
		if fitted && !cfg.Fitted[kind] {
			g.unfit(at, reading.Kind(kind))
		}
	}
	if g.shaft.begun {
		g.arm(at)
		g.settle(at)
	}
}

func detectorConfig(l Limits) weep.Config {
	return weep.Config{DryDPM: l.DryDPM, LeakDPM: l.LeakDPM, GushDPM: l.GushDPM, FalseAlarmsPerYear: l.FalseAlarmsPerYear}
}

// moveDelays lets what waits wait as long as the new timing says.
func (g *gland) moveDelays(old Timing, at time.Duration) {
	now := g.cfg.Timing
	for i := range g.alarms {
		a := &g.alarms[i]
		if a.pending && a.active {
			a.due += now.OffDelay - old.OffDelay
		} else if a.pending {
			a.due += now.OnDelay - old.OnDelay
		}
	}
	if g.shaft.waiting() {
		g.shaft.graceEnd += now.StartGrace - old.StartGrace
	}
	if r := &g.runIn; now.RunIn != old.RunIn && *r != (runIn{}) {
		*r = runIn{from: r.from, until: r.from + now.RunIn}
		for due, ok := r.next(); ok && due <= at; due, ok = r.next() {
			r.step++
		}
	}
}

// unfit forgets a sensor that is no longer there, and takes back what it alone
// could prove.
func (g *gland) unfit(at time.Duration, kind reading.Kind) {
	switch kind {
	case reading.Drip:
		g.drip = dripState{lastDrop: at, total: g.drip.total}
		g.stream = stream{}
		g.detect = g.detect.Unlearned(detectorConfig(g.cfg.Limits))
		g.detect.Restart(at)
		g.setLeak(at)
		g.count.Restart(at)
		g.takeBack(at, Dry, Leaking, Gushing, DripSensor)
	case reading.Temp:
		g.rise = heat.Rise{Metal: heat.NewProbe(true), Reference: g.rise.Reference}
		g.blind(at)
	case reading.Ref:
		g.rise = heat.Rise{Metal: g.rise.Metal, Reference: heat.NewProbe(false)}
		g.blind(at)
	case reading.Run:
		g.shaft = shaft{}
		g.shaft.begin(at, g.cfg.Timing.StartGrace)
		g.count.Restart(at)
	default:
	}
}

// blind says that there is no rise any more.
func (g *gland) blind(at time.Duration) {
	g.early = false
	g.takeBack(at, Burning)
	_, metal := g.rise.Metal.Faulty()
	if _, reference := g.rise.Reference.Faulty(); !metal && !reference {
		g.takeBack(at, TempSensor)
	}
}

func (g *gland) takeBack(at time.Duration, conditions ...Condition) {
	g.unfitted = true
	for _, c := range conditions {
		if g.alarms[c].active {
			g.change(at, c, false)
		}
		g.alarms[c].pending = false
	}
	g.unfitted = false
}
