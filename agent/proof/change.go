package proof

import (
	"math"
	"math/rand/v2"
	"time"

	"weepd/rules/weep"
)

// Change is a sudden change of the weep, drops per minute.
type Change struct {
	FromDPM float64 `json:"from_dpm"`
	ToDPM   float64 `json:"to_dpm"`
}

// TargetChanges are those that the detector's targets name.
func TargetChanges() []Change {
	return []Change{{30, 5}, {60, 15}, {20, 5}, {30, 60}, {60, 120}, {60, 180}}
}

func (c Change) low() bool { return c.ToDPM < c.FromDPM }

// LimitDPM is the limit that the change crosses: the geometric mean.
func (c Change) LimitDPM() float64 { return math.Sqrt(c.FromDPM * c.ToDPM) }

// EdgeDPM is the edge of the band in which the false-alarm budget is promised.
func (c Change) EdgeDPM() float64 {
	if c.low() {
		return c.LimitDPM() * weep.Margin
	}
	return c.LimitDPM() / weep.Margin
}

// config has the other limits far away.
func (c Change) config(alarmsPerYear float64) weep.Config {
	limit := c.LimitDPM()
	if c.low() {
		return weep.Config{DryDPM: limit, LeakDPM: 8 * limit, GushDPM: 20 * limit, FalseAlarmsPerYear: alarmsPerYear}
	}
	return weep.Config{DryDPM: limit / 8, LeakDPM: limit, GushDPM: 8 * limit, FalseAlarmsPerYear: alarmsPerYear}
}

// gland is a detector of its own with its drip.
type gland struct {
	*weep.Detector
	drip *Drip
}

func (c Change) newGland(m *weep.Models, drip *Drip, alarmsPerYear float64) gland {
	g := gland{weep.NewDetector(c.config(alarmsPerYear), m), drip}
	g.Restart(0)
	g.Arm(0, true)
	return g
}

// step passes to the next counted drop, or to the alarm before it in a silence,
// and gives that time.
func (g gland) step(low bool) (now float64, alarm bool) {
	next := g.drip.Next()
	at := steady(next)
	for dead, ok := g.Deadline(); ok && dead < at; dead, ok = g.Deadline() {
		if g.Silent(dead); g.out(low) {
			return dead.Seconds(), true
		}
	}
	g.Drops(at, 1)
	return next, g.out(low)
}

func (g gland) out(low bool) bool {
	l, h, _ := g.Out()
	return low && l || !low && h
}

func steady(s float64) time.Duration { return time.Duration(s * 1e9) }

// Trial is how a detector is tried.
type Trial struct {
	Change
	Shape          float64
	Splash, Missed float64 // shares of the drops
	Learned        float64 // s before the change
}

// Delay plays one gland: the seconds from the change to the alarm; early if the
// alarm came before the change.
func (t Trial) Delay(rng *rand.Rand, m *weep.Models) (seconds float64, early bool) {
	drip := NewDrip(rng, t.Shape, t.FromDPM, t.Splash, t.Missed)
	drip.Plan(t.Learned, t.ToDPM)
	g := t.newGland(m, drip, 1)
	for {
		if now, alarm := g.step(t.low()); alarm {
			return now - t.Learned, now < t.Learned
		}
	}
}

// QuietAtEdge plays a gland at the edge of the band from the start for so many
// seconds and reports whether there was an alarm, on either side.
func (t Trial) QuietAtEdge(rng *rand.Rand, m *weep.Models, seconds float64) (alarm bool) {
	g := t.newGland(m, NewDrip(rng, t.Shape, t.EdgeDPM(), t.Splash, t.Missed), 1)
	for now := 0.0; now < seconds; {
		if now, alarm = g.step(t.low()); alarm || g.out(!t.low()) {
			return now < seconds
		}
	}
	return false
}
