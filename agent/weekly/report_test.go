package weekly

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/agent"
	"weepd/rules"
)

// fakePast is what an agent kept, in memory.
type fakePast struct {
	series map[string][]agent.Aggregate
	events []agent.Event
	upkeep []agent.Upkeep
	fail   error
}

func (p *fakePast) EachAggregate(_ context.Context, from, to time.Time, do func(string, agent.Aggregate) error) error {
	for name, list := range p.series {
		for _, a := range list {
			if !a.Start.Before(from) && a.Start.Before(to) {
				if err := do(name, a); err != nil {
					return err
				}
			}
		}
	}
	return p.fail
}

func (p *fakePast) Events(_ context.Context, after uint64, limit int) ([]agent.Event, error) {
	list := p.events[min(int(after), len(p.events)):]
	return list[:min(limit, len(list))], p.fail
}

func (p *fakePast) Upkeep(context.Context) ([]agent.Upkeep, error) { return p.upkeep, p.fail }

// stretch adds minutes of a series.
func (p *fakePast) stretch(series string, from time.Time, n int, v float64) {
	if p.series == nil {
		p.series = make(map[string][]agent.Aggregate)
	}
	for i := range n {
		p.series[series] = append(p.series[series], agent.Aggregate{
			Start: from.Add(time.Duration(i) * time.Minute).UTC(), Period: time.Minute, Count: 60, Min: v, Mean: v, Max: v,
		})
	}
}

func (p *fakePast) event(e agent.Event) {
	e.Seq = uint64(len(p.events) + 1)
	p.events = append(p.events, e)
}

func (p *fakePast) alarm(at time.Time, gland, condition, state string, members ...string) {
	p.event(agent.Event{Time: at, Kind: agent.EventAlarm, Gland: gland, Condition: condition, State: state, Members: members})
}

func gland(id string) agent.GlandInfo {
	return agent.GlandInfo{Name: id, Rules: rules.GlandConfig{
		ID: id, NormalDPM: 30, Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
	}}
}

func request(t *testing.T, week string, ids ...string) Request {
	t.Helper()
	w, err := ParseWeek(week, zone(t, "Europe/Berlin"))
	if err != nil {
		t.Fatal(err)
	}
	q := Request{Station: "quarry", Week: w, Now: w.To.Add(6 * time.Hour), Drip: map[string]bool{}}
	for _, id := range ids {
		q.Glands = append(q.Glands, gland(id))
		q.Drip[id] = true
	}
	return q
}

func made(t *testing.T, p *fakePast, q Request) *Report {
	t.Helper()
	r, err := Make(t.Context(), p, q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestTimesOfAWeek: a week of known minutes, by hand.
func TestTimesOfAWeek(t *testing.T) {
	q := request(t, "2026-W10", "a")
	q.Glands[0].Rules.DropML = 0.1
	q.Price = 2
	p := &fakePast{}
	from := q.Week.From
	p.stretch("a.dpm", from.Add(-time.Hour), 60, 500) // the week before
	p.stretch("a.dpm", from, 600, 30)
	p.stretch("a.dpm", from.Add(10*time.Hour), 60, 10) // dry
	p.stretch("a.dpm", from.Add(11*time.Hour), 120, 80)
	p.stretch("a.dpm", from.Add(13*time.Hour), 60, 250)
	p.stretch("a.dpm", from.Add(14*time.Hour), 60, 2) // at rest: not dry
	p.stretch("a.rest", from.Add(14*time.Hour), 60, 1)
	p.stretch("a.rest", from.Add(15*time.Hour), 60, 1) // at rest, weep not known
	p.stretch("a.rest", from.Add(16*time.Hour), 60, 1) // leaks at rest
	p.stretch("a.dpm", from.Add(16*time.Hour), 60, 70)
	p.stretch("a.rise", from.Add(time.Hour), 10, 9)
	p.stretch("a.rise", from.Add(-time.Hour), 10, 40)
	p.stretch("a.dpm95", from, 600, 1)
	p.stretch("b.dpm", from, 600, 1) // not configured any more
	p.stretch("odd", from, 1, 1)
	p.stretch("a.dpm", q.Week.To, 60, 500)
	g := made(t, p, q).Glands[0]
	want := Times{
		Band: 12 * time.Hour, Rest: 2 * time.Hour, Dry: time.Hour, Leaking: 4 * time.Hour, Gushing: time.Hour, Unwatched: 151 * time.Hour,
	}
	if g.Time != want {
		t.Errorf("got %+v, want %+v", g.Time, want)
	}
	litres := (600*30 + 60*10 + 120*80 + 60*250 + 60*2 + 60*70) * 0.1 / 1000
	if g.Litres.Low != litres || g.Litres.High != litres || !g.AtLeast || g.Cost.Low != litres/1000*2 {
		t.Errorf("litres %+v, want %g; cost %+v", g.Litres, litres, g.Cost)
	}
	if g.MostRise != 9 {
		t.Errorf("most rise %g", g.MostRise)
	}
	if h := g.Hours[10]; math.Abs(h.Dry-1) > 1e-9 || h.Band != 0 || len(g.Hours) != 168 {
		t.Errorf("hour 10 %+v of %d", h, len(g.Hours))
	}
}

// TestMinutesInParts: a start in the middle of a minute makes two parts of it,
// and a clock that was set back a second minute; both are one.
func TestMinutesInParts(t *testing.T) {
	q := request(t, "2026-W10", "a")
	p := &fakePast{series: map[string][]agent.Aggregate{"a.dpm": {
		{Start: q.Week.From, Period: time.Minute, Count: 10, Min: 20, Mean: 20, Max: 20},
		{Start: q.Week.From, Period: time.Minute, Count: 30, Min: 100, Mean: 100, Max: 100},
	}}}
	g := made(t, p, q).Glands[0]
	if g.Time.Leaking != time.Minute || g.MeanDPM != 80 {
		t.Errorf("%+v, mean %g", g.Time, g.MeanDPM)
	}
}

// TestFirstDrop: the weep of the first second after a start, reckoned from one
// drop, does not make a stream of a minute.
func TestFirstDrop(t *testing.T) {
	q := request(t, "2026-W10", "a")
	p := &fakePast{series: map[string][]agent.Aggregate{"a.dpm": {
		{Start: q.Week.From, Period: time.Minute, Count: 60, Min: 28, Mean: (58*30 + 28 + 60_000) / 60., Max: 60_000},
	}}}
	if g := made(t, p, q).Glands[0]; g.Time.Band != time.Minute || math.Abs(g.MeanDPM-30) > 1e-9 {
		t.Errorf("%+v, mean %g", g.Time, g.MeanDPM)
	}
}

// TestHoursOnly: of old weeks only hours are kept; how much of each was watched
// is what its count of seconds says.
func TestHoursOnly(t *testing.T) {
	q := request(t, "2026-W10", "a")
	p := &fakePast{series: map[string][]agent.Aggregate{
		"a.dpm":  {{Start: q.Week.From, Period: time.Hour, Count: 3600, Min: 30, Mean: 30, Max: 30}, {Start: q.Week.From.Add(time.Hour), Period: time.Hour, Count: 1800, Min: 90, Mean: 90, Max: 90}},
		"a.rest": {{Start: q.Week.From, Period: time.Hour, Count: 600, Min: 1, Mean: 1, Max: 1}},
	}}
	r := made(t, p, q)
	g := r.Glands[0]
	want := Times{Band: time.Hour, Rest: 10 * time.Minute, Leaking: 30 * time.Minute, Unwatched: 168*time.Hour - 90*time.Minute}
	if !r.Coarse || g.Time != want {
		t.Errorf("coarse %v, got %+v, want %+v", r.Coarse, g.Time, want)
	}
}

// TestHalfAnHourOff: in a zone that is half an hour off, the hour that reaches
// into the week counts with its part.
func TestHalfAnHourOff(t *testing.T) {
	q := request(t, "2026-W10", "a")
	w, err := ParseWeek("2026-W10", zone(t, "Asia/Kolkata")) // UTC+5:30
	if err != nil {
		t.Fatal(err)
	}
	q.Week, q.Now = w, w.To
	p := &fakePast{series: map[string][]agent.Aggregate{"a.dpm": {{Start: w.From.Add(-30 * time.Minute), Period: time.Hour, Count: 3600, Min: 30, Mean: 30, Max: 30}}}}
	if g := made(t, p, q).Glands[0]; g.Time.Band != 30*time.Minute {
		t.Errorf("%+v", g.Time)
	}
}

// TestWeekGoingOn: of a week that is not over only the past counts, and of one
// to come nothing.
func TestWeekGoingOn(t *testing.T) {
	q := request(t, "2026-W10", "a")
	p := &fakePast{}
	p.stretch("a.dpm", q.Week.From, 7*24*60, 30)
	q.Now = q.Week.From.Add(36*time.Hour + 30*time.Second)
	r := made(t, p, q)
	if g := r.Glands[0]; !r.Running || g.Time.Band != 36*time.Hour+30*time.Second || g.Time.Unwatched != 0 {
		t.Errorf("%+v", g.Time)
	}
	q.Now = q.Week.From.Add(-time.Hour)
	if r := made(t, p, q); r.Total() != 0 || r.Glands[0].Time != (Times{}) {
		t.Errorf("%s, %+v", r.Total(), r.Glands[0].Time)
	}
}

// TestAlarmsOverTheBorders: an alarm that began before the week, one that lasts
// over its end, one of a shared cause, and clocks that were set back.
func TestAlarmsOverTheBorders(t *testing.T) {
	q := request(t, "2026-W10", "a", "b")
	from, to := q.Week.From, q.Week.To
	p := &fakePast{}
	p.alarm(from.Add(-48*time.Hour), "a", "leaking", "active")
	p.alarm(from.Add(-40*time.Hour), "b", "dry", "active")
	p.alarm(from.Add(-39*time.Hour), "b", "dry", "cleared")
	p.alarm(from.Add(time.Hour), "a", "leaking", "active") // acknowledged
	p.alarm(from.Add(2*time.Hour), "a", "leaking", "cleared")
	p.alarm(from.Add(3*time.Hour), "power", "drip-sensor", "active", "a/drip-sensor", "b/drip-sensor")
	p.alarm(from.Add(4*time.Hour), "power", "drip-sensor", "active", "b/drip-sensor")
	p.alarm(from.Add(5*time.Hour), "power", "drip-sensor", "cleared")
	p.alarm(from.Add(6*time.Hour), "a", "burning", "active")
	p.alarm(from.Add(5*time.Hour), "a", "burning", "cleared") // the clock was set back
	p.alarm(to.Add(-time.Hour), "a", "dry", "active")
	down, up := from.Add(10*time.Hour), from.Add(11*time.Hour)
	p.event(agent.Event{Time: up, Kind: agent.EventDown, From: &down, To: &up})
	early, start := from.Add(-time.Hour), from.Add(30*time.Minute)
	p.event(agent.Event{Time: start, Kind: agent.EventDown, From: &early, To: &start})
	p.event(agent.Event{Time: start, Kind: agent.EventDown, From: &early}) // the clock was behind
	p.alarm(to.Add(time.Hour), "a", "dry", "cleared")
	r := made(t, p, q)
	if got, want := r.Glands[0].Alarms, []Alarm{
		{"burning", 1, 0, false}, {"dry", 1, time.Hour, true}, {"leaking", 0, 2 * time.Hour, false}, {"drip-sensor", 1, time.Hour, false},
	}; !slices.Equal(got, want) {
		t.Errorf("a: got %+v, want %+v", got, want)
	}
	if got, want := r.Glands[1].Alarms, []Alarm{{"drip-sensor", 1, 2 * time.Hour, false}}; !slices.Equal(got, want) {
		t.Errorf("b: got %+v, want %+v", got, want)
	}
	if len(r.Down) != 2 || r.Down[0] != (Span{down, up}) || r.Down[1] != (Span{from, start}) {
		t.Errorf("down %v", r.Down)
	}
}

// TestTimesAddUp: whatever the history holds, the times of a gland add up to
// the week, and a naive count of the minutes agrees.
func TestTimesAddUp(t *testing.T) {
	q := request(t, "2026-W43", "a") // 169 hours
	rapid.Check(t, func(rt *rapid.T) {
		p := &fakePast{}
		naive := Times{}
		at := q.Week.From
		for i := range rapid.IntRange(0, 20).Draw(rt, "stretches") {
			n := rapid.IntRange(1, 600).Draw(rt, fmt.Sprint("minutes ", i))
			dpm := rapid.SampledFrom([]float64{-1, 0, 5, 15, 30, 60, 61, 200, 201}).Draw(rt, fmt.Sprint("dpm ", i))
			rest := rapid.Bool().Draw(rt, fmt.Sprint("rest ", i))
			left := int(q.Week.To.Sub(at) / time.Minute)
			n = min(n, left)
			if dpm >= 0 {
				p.stretch("a.dpm", at, n, dpm)
			}
			if rest {
				p.stretch("a.rest", at, n, 1)
			}
			d := time.Duration(n) * time.Minute
			switch {
			case dpm > 60:
				naive.Leaking += d
				if dpm > 200 {
					naive.Gushing += d
				}
			case rest:
				naive.Band += d
				naive.Rest += d
			case dpm < 0:
			case dpm < 15:
				naive.Dry += d
			default:
				naive.Band += d
			}
			at = at.Add(d)
		}
		naive.Unwatched = 169*time.Hour - naive.Watched()
		r, err := Make(t.Context(), p, q)
		if err != nil {
			rt.Fatal(err)
		}
		if got := r.Glands[0].Time; got != naive {
			rt.Fatalf("got %+v, want %+v", got, naive)
		}
	})
}
