package rules

import "time"

const (
	// inferNormalC is the least normal rise that lets a shaft be inferred: less is
	// within what a day does to a gland.
	inferNormalC = 4.0
	// inferCooled of its normal rise, and falling, with too little weep: friction
	// has ended. A gland that runs dry heats instead.
	inferCooled = 0.9
	// inferHeating, °C a minute: friction has begun again.
	inferHeating = 0.2
)

// infer says from weep and heat whether the shaft turns, for a gland without a
// run signal. It looks with each temperature.
func (g *gland) infer(at time.Duration) {
	normal, learned := g.rise.Normal()
	rise, ok := g.rise.Judged()
	if !g.cfg.InferShaft || g.shaft.known || !ok || !learned || normal < inferNormalC {
		return
	}
	low, _, _ := g.detect.Out()
	rests := low && !g.stream.merged && rise < inferCooled*normal && g.rise.Steady() && g.rise.Slope() < fallingSlope
	turns := g.rise.Slope() > inferHeating || g.dripsWell(at)
	switch {
	case g.shaft.turns && rests:
		g.shaft.turns, g.shaft.since, g.shaft.armed = false, at, false
	case !g.shaft.turns && turns:
		g.shaft.begin(at, g.cfg.Timing.StartGrace)
		g.shaft.armed = false
	default:
		return
	}
	g.count.Restart(at)
	g.arm(at)
}

// dripsWell reports a weep that is surely more than the least.
func (g *gland) dripsWell(at time.Duration) bool {
	w := g.weep(at)
	return w.Known && w.LowDPM > g.cfg.Limits.DryDPM
}
