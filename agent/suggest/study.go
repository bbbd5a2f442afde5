package suggest

import (
	"runtime"
	"sync"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/weep"
)

// Study looks at a record twice: first with every limit that is tried, then for
// the rows of its quiet stretches.
type Study struct {
	options  Options
	glands   []rules.GlandConfig
	plan     []variant
	past     *past
	counts   []map[string]*[rules.Conditions]int // by variant and gland
	quiet    map[string][]block
	injected map[string][]*stretch
}

// New makes a study of glands.
func New(glands []rules.GlandConfig, o Options) *Study {
	s := &Study{options: o, glands: glands, plan: o.plan(), past: newPast(glands)}
	for range s.plan {
		counts := make(map[string]*[rules.Conditions]int, len(glands))
		for _, g := range glands {
			counts[g.ID] = &[rules.Conditions]int{}
		}
		s.counts = append(s.counts, counts)
	}
	return s
}

// Configs gives the stations for the first look, the first with what is in force.
func (s *Study) Configs() []rules.Config { return configs(s.glands, s.plan) }

// Row takes a row of the first look.
func (s *Study) Row(r reading.Reading) { s.past.row(r) }

// Transition takes a transition of a station of the first look.
func (s *Study) Transition(station int, t rules.Transition) {
	if t.Active {
		s.counts[station][t.Gland][t.Condition]++
	}
	if station == 0 {
		s.past.glands[t.Gland].transition(t)
	}
}

// Choose ends the first look: it picks the quiet stretches.
func (s *Study) Choose() {
	s.quiet = make(map[string][]block, len(s.glands))
	s.injected = make(map[string][]*stretch, len(s.glands))
	for id, h := range s.past.glands {
		s.quiet[id] = h.quiet(s.past.last)
		s.injected[id] = stretches(steady(s.quiet[id]))
		for _, one := range s.injected[id] {
			if h.fitted[reading.Run] { // it turned all the while, but the row that says so is older
				one.rows = append(one.rows, reading.Reading{At: one.from, Point: reading.Point{Gland: id, Kind: reading.Run}, Value: 1})
			}
		}
	}
}

// Collect takes a row of the second look.
func (s *Study) Collect(r reading.Reading) { collect(s.injected[r.Point.Gland], r) }

// Report injects the changes and gives what was found, gland by gland.
func (s *Study) Report() []Finding {
	findings := make([][]Finding, len(s.glands))
	work := make(chan int)
	var group sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(s.glands)) {
		group.Go(func() {
			models := weep.NewModels() // not to be shared with the others
			for i := range work {
				if !s.options.wants(s.glands[i].ID) {
					continue
				}
				for _, l := range s.options.Limits {
					findings[i] = append(findings[i], s.find(s.glands[i], l, models))
				}
			}
		})
	}
	for i := range s.glands {
		work <- i
	}
	close(work)
	group.Wait()
	var all []Finding
	for _, list := range findings {
		all = append(all, list...)
	}
	return all
}

// find is all that is known of one limit of one gland.
func (s *Study) find(g rules.GlandConfig, l Limit, models *weep.Models) Finding {
	h := s.past.glands[g.ID]
	g.Fitted, g.InferShaft = h.fitted, g.InferShaft && !h.fitted[reading.Run]
	list := usable(s.injected[g.ID], l)
	f := Finding{
		Gland: g.ID, Limit: l, InForce: l.of(g.Limits), Budget: g.Limits.FalseAlarmsPerYear,
		Watched: h.turning.Hours() / 24, Stretches: len(list), Candidates: []Candidate{},
	}
	f.usual(s.quiet[g.ID], l)
	if f.lacking(h, l) {
		return f
	}
	f.learn(g, list, models)
	months := h.turning.Hours() / (24 * monthDays)
	for i, v := range s.plan {
		if i > 0 && v.limit != l {
			continue
		}
		f.Candidates = append(f.Candidates, s.candidate(&f, g, l, i, months, list))
	}
	f.sort()
	f.propose(s.options, g)
	return f
}

// monthDays is the mean month.
const monthDays = 365.25 / 12

func (s *Study) candidate(f *Finding, g rules.GlandConfig, l Limit, i int, months float64, list []*stretch) Candidate {
	v := s.plan[i]
	limits, ok := v.apply(g.Limits)
	c := Candidate{
		Value: tried(l.of(g.Limits), v.factor), Budget: limits.FalseAlarmsPerYear, InForce: i == 0, Fits: ok, Delays: []Delay{},
	}
	if !ok {
		return c
	}
	c.Alarms = s.counts[i][g.ID][l.condition()]
	rate := weep.Limits(float64(c.Alarms), months, 1) // Garwood's exact limits: shape 1 is a Poisson count
	c.PerMonth, c.Low95, c.High95 = rate.DPM, rate.LowDPM, rate.HighDPM
	g.Limits = limits
	for _, change := range changesOf(l, f.InForce) {
		c.Delays = append(c.Delays, f.delay(g, change, list))
	}
	return c
}

// delay is what the theory expects of a change, and what injecting it showed.
func (f *Finding) delay(g rules.GlandConfig, c change, list []*stretch) Delay {
	d := Delay{Size: c.size, Tried: len(list)}
	if !c.beyond(c.limit.of(g.Limits)) {
		d.Within = true
		return d
	}
	d.Theory = f.theory(g, c)
	var delays []float64
	for _, one := range list {
		took, found, early := one.delay(g, c)
		switch {
		case early:
			d.Early++
		case found:
			d.Found++
			delays = append(delays, took.Seconds())
			d.Worst = max(d.Worst, took.Seconds())
		default:
			d.NotWithin = max(d.NotWithin, (one.lasts(c) - one.onset()).Seconds())
		}
	}
	d.Median = quantile(delays, 0.5)
	return d
}

// theory is the delay that is to be expected, seconds; 0 where none is.
func (f *Finding) theory(g rules.GlandConfig, c change) float64 {
	if c.limit == Rise {
		// The rise must grow to its limit; the rules take the middle of the last
		// three readings, which lags by one, and half an interval on average.
		return max(0, g.Limits.RiseC-f.Usual50)/c.size*60 + 1.5*f.tempEvery
	}
	side := weep.TooLow
	if c.limit == Leak {
		side = weep.TooHigh
	}
	expected, ok := weep.NewExpected(side, c.limit.of(g.Limits), g.Limits.FalseAlarmsPerYear, f.Regularity).Delay(c.size)
	if !ok {
		return 0
	}
	return (expected + g.Timing.OnDelay).Seconds()
}

// learn takes the regularity that the detector learned before the onsets.
func (f *Finding) learn(g rules.GlandConfig, list []*stretch, models *weep.Models) {
	var shapes []float64
	for _, one := range list {
		shapes = append(shapes, one.regularity(g, models))
	}
	f.Regularity = quantile(shapes, 0.5)
}
