package suggest

import (
	"cmp"
	"fmt"

	"weepd/rules"
)

// Proposal is what a limit might be, for a person to decide.
type Proposal struct {
	Value   float64  `json:"value"`
	Budget  float64  `json:"false_alarms_per_year"`
	Keep    bool     `json:"keep"`   // what is in force
	Looser  bool     `json:"looser"` // protects less than what is in force
	Reasons []string `json:"reasons"`
}

// worthwhile is the least gain in delay for which a limit is worth changing.
const worthwhile = 0.8

// propose picks the candidate that finds changes soonest among those that the
// gland's usual weep or rise lives with. One that protects less than what is in
// force is picked only if nothing else will do.
func (f *Finding) propose(o Options, g rules.GlandConfig) {
	inForce := f.inForce()
	lives := func(c Candidate) bool {
		return c.Fits && f.holds(c.Value) && c.PerMonth <= o.MostPerMonth && c.early() == 0
	}
	allowed := func(c Candidate) bool {
		return lives(c) && (f.Limit != Dry || c.Value <= max(f.InForce, o.MostDryDPM[g.ID]))
	}
	best := f.best(allowed)
	switch {
	case best == nil:
		f.Proposal = &Proposal{Value: f.InForce, Budget: f.Budget, Keep: true, Reasons: append(f.against(*inForce, o),
			"no limit that was tried does better: look at the gland and its sensors first, then at what the alarms were")}
	case lives(*inForce) && (f.looser(best.Value, f.InForce) || best.total() > worthwhile*inForce.total()):
		f.Proposal = &Proposal{Value: f.InForce, Budget: f.Budget, Keep: true, Reasons: append(f.fors(*inForce, o),
			"none that was tried finds the changes a fifth sooner and is lived with as well")}
	default:
		f.Proposal = &Proposal{
			Value: best.Value, Budget: best.Budget, Keep: best.InForce, Looser: f.looser(best.Value, f.InForce),
			Reasons: f.fors(*best, o),
		}
		f.compare(*best, *inForce, o)
	}
}

// best picks the limit with the budget in force, and then, for that limit, a
// smaller budget that costs next to no time or a larger one that saves a fifth. If
// no limit will do with the budget in force, any budget may.
func (f *Finding) best(allowed func(Candidate) bool) *Candidate {
	pick := func(may func(Candidate) bool, better func(a, b Candidate) bool) (best *Candidate) {
		for i := range f.Candidates {
			if c := &f.Candidates[i]; allowed(*c) && may(*c) && (best == nil || better(*c, *best)) {
				best = c
			}
		}
		return best
	}
	best := pick(func(c Candidate) bool { return c.Budget == f.Budget }, f.better)
	if best == nil {
		return pick(func(Candidate) bool { return true }, f.better)
	}
	budget := func(pays func(c Candidate) bool) *Candidate { // the smallest that pays
		return pick(func(c Candidate) bool { return c.Value == best.Value && pays(c) },
			func(a, b Candidate) bool { return a.Budget < b.Budget })
	}
	return cmp.Or(
		budget(func(c Candidate) bool { return c.Budget < f.Budget && c.total() <= nextToNothing*best.total() }),
		budget(func(c Candidate) bool { return c.Budget > f.Budget && c.total() < worthwhile*best.total() }),
		best)
}

// nextToNothing is what a smaller budget may cost in delay.
const nextToNothing = 1.05

func (f *Finding) inForce() *Candidate {
	for i := range f.Candidates {
		if f.Candidates[i].InForce {
			return &f.Candidates[i]
		}
	}
	return nil
}

// better: one that protects no less than what is in force, then the sooner.
func (f *Finding) better(a, b Candidate) bool {
	if la, lb := f.looser(a.Value, f.InForce), f.looser(b.Value, f.InForce); la != lb {
		return lb
	}
	return a.total() < b.total()
}

// total is the delay of all changes together, by what was found, else by the
// theory, and long where a change is not beyond the limit.
func (c Candidate) total() float64 {
	const long = 24 * 3600.0
	sum := 0.0
	for _, d := range c.Delays {
		switch {
		case d.Within || d.Found == 0 && d.Theory == 0:
			sum += long
		case d.Found == 0:
			sum += max(d.Theory, d.NotWithin)
		default:
			sum += (d.Median*float64(d.Found) + max(d.Theory, d.NotWithin)*float64(d.Tried-d.Found-d.Early)) / float64(d.Tried-d.Early)
		}
	}
	return sum
}

func (c Candidate) early() (n int) {
	for _, d := range c.Delays {
		n += d.Early
	}
	return n
}

// fors are the reasons for a candidate.
func (f *Finding) fors(c Candidate, o Options) []string {
	unit := f.unit()
	var band string
	switch f.Limit {
	case Dry:
		band = fmt.Sprintf("the usual weep of %.3g to %.3g%s (5 to 95 %% of the quiet record) stays over %.3g, from where the false-alarm budget holds", f.Usual05, f.Usual95, unit, c.Value*1.3)
	case Leak:
		band = fmt.Sprintf("the usual weep of %.3g to %.3g%s (5 to 95 %% of the quiet record) stays below %.3g, up to where the false-alarm budget holds", f.Usual05, f.Usual95, unit, c.Value/1.3)
	default:
		band = fmt.Sprintf("the usual rise of %.3g to %.3g%s (5 to 95 %% of the quiet record) stays below %.3g, up to where the false-alarm budget holds", f.Usual05, f.Usual95, unit, c.Value*riseMargin)
	}
	return []string{band, fmt.Sprintf("%s in the record, %.2g a month (%.2g to %.2g), at most %g are accepted", alarmsText(c.Alarms), c.PerMonth, c.Low95, c.High95, o.MostPerMonth)}
}

// against are the reasons against a candidate.
func (f *Finding) against(c Candidate, o Options) []string {
	var why []string
	if !f.holds(c.Value) {
		why = append(why, fmt.Sprintf("the usual %.3g to %.3g%s (5 to 95 %% of the quiet record) comes so near to %g that the false-alarm budget does not hold", f.Usual05, f.Usual95, f.unit(), c.Value))
	}
	if c.PerMonth > o.MostPerMonth {
		why = append(why, fmt.Sprintf("%.2g alarms a month in the record, more than the %g that are accepted", c.PerMonth, o.MostPerMonth))
	}
	if n := c.early(); n > 0 {
		why = append(why, fmt.Sprintf("%s in stretches without a change", alarmsText(n)))
	}
	return why
}

// compare adds how a proposal differs from what is in force.
func (f *Finding) compare(best, inForce Candidate, o Options) {
	p := f.Proposal
	for i, d := range best.Delays {
		was := inForce.Delays[i]
		if d.Found > 0 && was.Found > 0 {
			p.Reasons = append(p.Reasons, fmt.Sprintf("%s is found after %.0f s instead of %.0f s", f.changeText(d.Size), d.Median, was.Median))
		}
	}
	for _, why := range f.against(inForce, o) {
		p.Reasons = append(p.Reasons, fmt.Sprintf("of what is in force: %s", why))
	}
	if p.Looser {
		p.Reasons = append(p.Reasons, "it protects less than what is in force: look first at the gland and at what the alarms were, and only go there if the maker's instructions allow it")
	}
}

func (f *Finding) changeText(size float64) string {
	switch {
	case f.Limit == Rise:
		return fmt.Sprintf("a rise that grows by %g °C a minute", size)
	case size == 0:
		return "a weep that stops"
	default:
		return fmt.Sprintf("a weep that changes to %g dpm", size)
	}
}

func (f *Finding) unit() string {
	if f.Limit == Rise {
		return " °C"
	}
	return " dpm"
}

func alarmsText(n int) string {
	if n == 1 {
		return "1 alarm"
	}
	return fmt.Sprintf("%d alarms", n)
}
