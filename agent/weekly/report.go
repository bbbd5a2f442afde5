package weekly

import (
	"context"
	"time"

	"weepd/agent"
	"weepd/rules/sheet"
)

// Past is where a report reads what an agent kept.
type Past interface {
	EachAggregate(ctx context.Context, from, to time.Time, do func(series string, a agent.Aggregate) error) error
	Events(ctx context.Context, after uint64, limit int) ([]agent.Event, error)
	Upkeep(ctx context.Context) ([]agent.Upkeep, error)
}

// Request says what a report is wanted of.
type Request struct {
	Station string
	Week    Week
	Glands  []agent.GlandInfo
	Drip    map[string]bool // by gland: a drip sensor is fitted
	Now     time.Time       // in the station's zone
	Price   float64         // of a cubic metre; 0: not known
	Unit    string          // of the price
	// Advice gives one or two sentences on what to do about a condition.
	Advice func(condition string) string
	// State is what is known of each gland's upkeep at StateAt; nil, or without a
	// gland, where that is not known.
	State map[string]*agent.UpkeepState
}

// Report is the week of a station.
type Report struct {
	Station string
	Week    Week
	Made    time.Time
	Until   time.Time // the end of what it tells of: the week's, or now
	Running bool      // the week is not over
	Glands  []Gland
	Tasks   []Task
	How     []How
	Down    []Span // when the agent did not run
	Price   float64
	Unit    string
	Coarse  bool // some hours are known as hours only
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

// Gland is the week of a gland.
type Gland struct {
	ID, Name string
	Drip     bool // a drip sensor is fitted
	LowDPM   float64
	HighDPM  float64
	Time     Times
	Alarms   []Alarm // that were active in the week, in order of urgency
	Litres   Range
	AtLeast  bool // more was lost: drops merged, or it was not watched all the time
	Measured bool // the volume of its drops
	Cost     Range
	MeanDPM  float64 // while it was watched; 0 where it was not
	MostRise float64 // °C; 0 where it is not known
	Hours    []Hour
	Work     []Work
	State    *agent.UpkeepState // as it is now; nil: not known, or the week is long over
}

// Times is how the week of a gland went. Their sum is the time from the week's
// start to its end, or to now.
type Times struct {
	Band      time.Duration // weep between the limits, or a shaft at rest that does not leak
	Rest      time.Duration // of Band: the shaft at rest
	Dry       time.Duration // weep below the least, the shaft turning
	Leaking   time.Duration // weep over the most allowed, at rest too
	Gushing   time.Duration // of Leaking: over the gush limit
	Unwatched time.Duration
}

// Watched is the time of which something is known.
func (t Times) Watched() time.Duration { return t.Band + t.Dry + t.Leaking }

// Alarm is what a condition of a gland did in the week.
type Alarm struct {
	Condition string
	Count     int           // how often it came
	Active    time.Duration // in all
	AtEnd     bool          // it was active at the end
}

// Range is a quantity known to lie between two values.
type Range struct{ Low, High float64 }

// Hour is one hour of the week, for the strip: parts of the hour.
type Hour struct{ Band, Dry, Leaking float64 }

// Work is one thing that was done to a gland.
type Work struct {
	Time  time.Time
	Kind  string
	By    string
	Words string // what, and what came of it where that is known
}

// stillNews is how long after its end a week's report says what is due now; an
// older one is history. Long enough for the Monday after a week off.
const stillNews = 8 * 24 * time.Hour

func (q Request) news() bool { return q.Now.Sub(q.Week.To) < stillNews }

// StateAt is the moment for which State is wanted: now, or the end of a week that
// is long over.
func (q Request) StateAt() time.Time {
	if q.news() {
		return q.Now
	}
	return q.Week.To
}

// Make reads what a past has and makes the report. It begins anew when it is
// called again.
func Make(ctx context.Context, past Past, q Request) (*Report, error) {
	r := &Report{
		Station: q.Station, Week: q.Week, Made: q.Now, Until: q.Week.To, Price: q.Price, Unit: q.Unit,
	}
	if q.Now.Before(q.Week.To) {
		r.Until, r.Running = q.Now, true
	}
	if !r.Until.After(q.Week.From) {
		r.Until = q.Week.From // a week to come: nothing is known
	}
	minutes, err := readMinutes(ctx, past, q, r.Until)
	if err != nil {
		return nil, err
	}
	lives, err := readEvents(ctx, past, q, r.Until)
	if err != nil {
		return nil, err
	}
	works, err := readWork(ctx, past, q, r.Until)
	if err != nil {
		return nil, err
	}
	r.Down, r.Coarse = lives.down, minutes.coarse
	for _, info := range q.Glands {
		r.Glands = append(r.Glands, q.gland(info, minutes, lives, works[info.Rules.ID]))
	}
	r.Tasks = tasks(r.Glands)
	for i := range r.Tasks {
		if r.Tasks[i].When == Now && !q.news() {
			r.Tasks[i].When = First
		}
	}
	r.How = hows(r.Tasks, q.Advice)
	return r, nil
}

// gland puts together what is known of one gland.
func (q Request) gland(info agent.GlandInfo, m *minutes, l *lives, work []Work) Gland {
	id := info.Rules.ID
	g := Gland{
		ID: id, Name: info.Name, Drip: q.Drip[id], LowDPM: info.Rules.Limits.DryDPM, HighDPM: info.Rules.Limits.LeakDPM,
		Alarms: l.alarms(id), Work: work, Measured: info.Rules.DropML > 0,
	}
	if q.news() {
		g.State = q.State[id]
	}
	m.tally(&g, info)
	low, high := sheet.DropML(info.Rules.DropML)
	drops := m.drops(id)
	g.Litres = Range{drops * low / 1000, drops * high / 1000}
	g.Cost = Range{g.Litres.Low / 1000 * q.Price, g.Litres.High / 1000 * q.Price}
	g.AtLeast = g.Time.Unwatched >= time.Hour || g.Time.Gushing > 0
	return g
}
