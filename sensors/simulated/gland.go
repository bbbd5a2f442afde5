package simulated

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

const (
	never     = math.MaxInt64
	rampEvery = int64(500 * time.Millisecond) // how finely a ramp is followed
	refAfter  = int64(4 * time.Millisecond)   // one bus, one sensor after the other
	watchFor  = int64(sensors.WatchEvery - time.Second)
	day       = float64(24 * time.Hour)
)

// gland is the state of one gland. Times are nanoseconds of steady time.
type gland struct {
	cfg    Gland
	fitted [reading.Kinds]bool
	rng    *rand.Rand
	drops  intervals
	merged intervals // of a stream

	begin  int64
	now    int64
	events []Event // still to come, in order
	start  int64   // what their times count from

	running  bool
	weep     ramp    // set, drops per minute, without wear
	dpm      float64 // real weep now
	pressure float64 // of the packing, relative to the configured one

	nsPerDrop  float64 // mean interval of counted drops; +Inf without any
	unitsLeft  float64 // of the current interval (mean 1), when there are no drops
	nextDrop   int64
	splash     int64 // when a splash is due
	said       int64 // last drip reading
	deadUntil  int64
	openUntil  int64
	nextTemp   int64
	nextRef    int64
	nextRamp   int64
	nextRun    int64
	nextSlow   int64 // earliest of event, temperature, reference, ramp and run
	tempC      float64
	film       float64 // 1 = full
	heatAt     int64
	splashOver float64 // a draw from 0 to 1 above it is a splash
}

func newGland(cfg Gland, stationSeed uint64, begin, start int64) *gland {
	name := fnv.New64a() // so that neighbours and their order do not matter
	name.Write([]byte(cfg.ID))
	g := &gland{
		cfg:        cfg,
		rng:        rand.New(rand.NewPCG(stationSeed^cfg.Seed*0x9e3779b97f4a7c15, name.Sum64())),
		drops:      newIntervals(cfg.Shape),
		merged:     newIntervals(1),
		begin:      begin,
		now:        begin,
		heatAt:     begin,
		start:      start,
		events:     slices.Clone(cfg.Events),
		running:    true,
		weep:       ramp{target: cfg.DPM},
		pressure:   1,
		nsPerDrop:  math.Inf(1),
		splash:     never,
		said:       begin,
		film:       1,
		splashOver: 1 - cfg.SplashShare,
		nextRamp:   never,
		nextRun:    begin,
	}
	slices.SortStableFunc(g.events, func(a, b Event) int { return int(min(max(a.At-b.At, -1), 1)) })
	for _, k := range cfg.Kinds {
		g.fitted[k] = true
	}
	g.unitsLeft = g.rng.Float64() * g.drops.draw(g.rng)
	g.nextTemp = begin + g.rng.Int64N(int64(cfg.TempEvery))
	g.nextRef = g.nextTemp + refAfter
	g.setRate()
	g.film = min(g.dpm/cfg.Friction.FilmDPM, 1)
	g.tempC, _ = g.equilibrium(g.film, begin)
	g.planSlow()
	return g
}

// due is when next has something to do.
func (g *gland) due() int64 {
	t := min(g.nextDrop, g.splash, g.nextSlow)
	if g.fitted[reading.Drip] {
		t = min(t, g.said+watchFor)
	}
	return t
}

// next does what is due; ok is false if that shows in no reading.
func (g *gland) next(due int64) (r reading.Reading, ok bool) {
	g.now = due
	switch g.now {
	case g.nextSlow:
		return g.slow()
	case g.nextDrop:
		return g.drop()
	case g.splash:
		g.splash = never
		return g.count(1)
	default:
		return g.count(0)
	}
}

// drop lets the due drop fall and plans the next one.
func (g *gland) drop() (reading.Reading, bool) {
	iv := &g.drops
	if g.dpm > streamDPM {
		iv = &g.merged
	}
	g.nextDrop = g.now + int64(iv.draw(g.rng)*g.nsPerDrop)
	u := g.rng.Float64()
	if u < g.cfg.MissShare {
		return reading.Reading{}, false
	}
	if u >= g.splashOver {
		g.splash = g.now + int64(splashFirst) + g.rng.Int64N(int64(splashLast-splashFirst))
	}
	return g.count(1)
}

func (g *gland) count(drops float64) (reading.Reading, bool) {
	if drops > 0 && g.now < g.deadUntil {
		return reading.Reading{}, false
	}
	g.said = g.now
	return g.reading(reading.Drip, drops, reading.Good)
}

func (g *gland) reading(k reading.Kind, v float64, q reading.Quality) (reading.Reading, bool) {
	if !g.fitted[k] {
		return reading.Reading{}, false
	}
	if !q.OK() {
		v = 0
	}
	return reading.Reading{At: time.Duration(g.now), Point: reading.Point{Gland: g.cfg.ID, Kind: k}, Value: v, Quality: q}, true
}

// slow does one of the things that come rarely: all but drops.
func (g *gland) slow() (r reading.Reading, ok bool) {
	switch g.now {
	case g.nextEvent():
		g.heatTo(g.now) // with what was so far
		if g.happen(g.events[0]) {
			g.nextRun = g.now
		}
		g.events = g.events[1:]
		g.setRate()
	case g.nextRun:
		g.nextRun = never
		turning := 0.0
		if g.running {
			turning = 1
		}
		r, ok = g.reading(reading.Run, turning, reading.Good)
	case g.nextRamp:
		g.heatTo(g.now)
		g.setRate()
	case g.nextTemp:
		g.heatTo(g.now)
		g.setRate() // wear
		g.nextTemp += int64(g.cfg.TempEvery)
		r, ok = g.measured(reading.Temp, g.tempC)
		if ok && g.now < g.openUntil {
			r.Value, r.Quality = 0, reading.OpenCircuit
		}
	default:
		g.nextRef += int64(g.cfg.TempEvery)
		r, ok = g.measured(reading.Ref, g.cfg.Climate.liquidC(g.now))
	}
	g.planSlow()
	return r, ok
}

func (g *gland) measured(k reading.Kind, tempC float64) (reading.Reading, bool) {
	v := quantised(tempC + tempNoiseC*g.rng.NormFloat64())
	if v < leastTempC || v > mostTempC {
		return g.reading(k, 0, reading.OutOfRange)
	}
	return g.reading(k, v, reading.Good)
}

func (g *gland) nextEvent() int64 {
	if len(g.events) == 0 {
		return never
	}
	return max(g.start+int64(g.events[0].At), g.begin)
}

func (g *gland) planSlow() {
	g.nextSlow = min(g.nextEvent(), g.nextRun, g.nextRamp, g.nextTemp, g.nextRef)
}

// setRate takes over the weep as it is now. What is left of the interval
// before the next drop stretches or shrinks with the rate.
func (g *gland) setRate() {
	g.dpm = g.weep.at(g.now) * (1 + g.cfg.WearPerDay*float64(g.now-g.begin)/day)
	if !g.running {
		g.dpm *= g.cfg.StandingShare
	}
	g.nextRamp = never
	if g.now < g.weep.end {
		g.nextRamp = min(g.now+rampEvery, g.weep.end)
	}
	if !math.IsInf(g.nsPerDrop, 1) {
		g.unitsLeft = float64(g.nextDrop-g.now) / g.nsPerDrop
	}
	g.nsPerDrop = float64(time.Minute) / counted(g.dpm)
	wait := g.unitsLeft * g.nsPerDrop
	if g.nextDrop = never; wait < float64(longestPast) {
		g.nextDrop = g.now + int64(wait)
	} else {
		g.nsPerDrop = math.Inf(1) // as good as none
	}
}
