package rules

import (
	"time"

	"weepd/rules/reading"
)

func (g *gland) weep(at time.Duration) Weep {
	if !g.drip.seen || !g.drip.quality.OK() || g.withheld() || g.drip.cold {
		return Weep{}
	}
	r, ok := g.detect.Known(&g.count, at)
	return Weep{DPM: r.DPM, LowDPM: r.LowDPM, HighDPM: r.HighDPM, Known: ok}
}

func (g *gland) riseNow() Quantity {
	c, ok := g.rise.Known()
	q := g.rise.Metal.Quality()
	if q.OK() {
		q = g.rise.Reference.Quality()
	}
	return Quantity{Value: c, Known: ok, Quality: q}
}

// state is the gland as it stands at a moment.
func (g *gland) state(at time.Duration) GlandState {
	c, ok := g.rise.Metal.Usable()
	s := GlandState{
		ID: g.cfg.ID, Weep: g.weep(at), RiseC: g.riseNow(), Running: g.shaft.state(), Drops: g.drip.total,
		TempC: Quantity{Value: c, Known: ok && g.rise.Metal.Fitted(), Quality: g.rise.Metal.Quality()},
	}
	for _, q := range []reading.Quality{g.drip.quality, g.rise.Metal.Quality(), g.rise.Reference.Quality(), g.shaft.quality} {
		s.Quality = max(s.Quality, q)
	}
	s.LeakDPM, s.RiseLimitC = g.leakLimit(), g.riseLimit(at)
	if left, ok := g.rise.ToLimit(s.RiseLimitC); ok {
		s.ToLimitMin = Quantity{Value: max(left.Minutes(), 0), Known: true}
	}
	for c := range g.alarms {
		if a := &g.alarms[c]; a.active {
			s.Alarms = append(s.Alarms, Alarm{Condition: Condition(c), Priority: Condition(c).Priority(), Since: a.since, Message: a.message})
		} else if old, stands := g.care.unproven.find(Condition(c)); stands {
			s.Alarms = append(s.Alarms, old)
		}
	}
	return s
}
