package rules

import (
	"fmt"
	"math"
	"time"
)

// runIn is the time after repacking in which a generous leak is right: new
// packing is run loose and brought down in steps (MIL-HDBK-1164 table 11,
// NAVEDTRA 14113 fig. 7-6: liberal initial leakage, then gradually to a constant
// drip). Heat is watched more closely meanwhile, as over-tight new packing burns.
type runIn struct {
	from, until time.Duration
	step        int // limits lowered so far
}

const (
	// runInSteps is in how many equal times, with limits in geometric steps from
	// the gush limit down to the leak limit, the leak is brought down.
	runInSteps = 4
	// runInHeat is the share of the rise limit that counts as burning meanwhile;
	// the promise against false alarms ends at the same share.
	runInHeat = 0.8
)

// RunIn says that a gland was repacked at a time, now or before, and is run in
// from then on for as long as its configuration says. An unknown gland is an
// error and changes nothing.
func (s *Station) RunIn(gland string, repacked time.Duration) error {
	g, found := s.byID[gland]
	if !found {
		return fmt.Errorf("run-in of unknown gland %s", gland)
	}
	s.runIn(g, repacked)
	return nil
}

func (s *Station) runIn(g *gland, repacked time.Duration) {
	g.endRunIn(s.now, replaced)
	g.runIn = runIn{from: repacked, until: repacked + g.cfg.Timing.RunIn}
	g.setLeak(repacked)
	g.advanceRunIn(s.now)
	g.care.guide = nil
	if now := max(s.now, repacked); g.runIn.active(now) {
		g.care.guide = g.newGuide(now)
	}
	s.schedule(g)
}

// followRepacking begins the run-in of the newest repacking, or ends one whose
// repacking was taken back.
func (s *Station) followRepacking(g *gland) {
	at, known := g.care.life.Repacked()
	switch {
	case known && (g.care.guide == nil || (g.care.guide.run.From-at).Abs() > time.Minute):
		s.runIn(g, at)
	case !known && g.care.guide != nil:
		g.endRunIn(s.now, takenBack)
	}
}

// active reports whether the gland is being run in.
func (r *runIn) active(at time.Duration) bool { return at < r.until }

// next is when the limit is lowered next.
func (r *runIn) next() (at time.Duration, ok bool) {
	return r.from + (r.until-r.from)*time.Duration(r.step+1)/runInSteps, r.until > r.from && r.step < runInSteps
}

// advance lowers the limit as far as time has come.
func (g *gland) advanceRunIn(at time.Duration) {
	for due, ok := g.runIn.next(); ok && due <= at; due, ok = g.runIn.next() {
		g.runIn.step++
		g.setLeak(at)
	}
	g.lead(at)
}

// leakLimit is the most weep allowed at present, drops per minute.
func (g *gland) leakLimit() float64 {
	l := g.cfg.Limits
	left := 0.0
	if g.runIn.until > g.runIn.from {
		left = 1 - float64(g.runIn.step)/runInSteps
	}
	return l.LeakDPM * math.Pow(l.GushDPM/l.LeakDPM, left)
}

func (g *gland) setLeak(at time.Duration) {
	g.easy = false
	g.detect.SetLeak(at, g.leakLimit())
}

// riseLimit is the rise that counts as burning at present, °C.
func (g *gland) riseLimit(at time.Duration) float64 {
	if g.runIn.active(at) {
		return runInHeat * g.cfg.Limits.RiseC
	}
	return g.cfg.Limits.RiseC
}
