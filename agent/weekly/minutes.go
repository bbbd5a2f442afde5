package weekly

import (
	"context"
	"math"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// minute is what is known of a gland's minute. Parts of a minute, as a start of
// the agent in its middle makes them, are joined.
type minute struct {
	drops float64 // sum of the weep over seconds
	known float64 // seconds of which the weep is known
	rest  float64 // seconds at rest
}

// minutes are those of all glands in the week.
type minutes struct {
	from    time.Time
	until   time.Time
	byGland map[string][]minute
	rise    map[string]float64 // most
	coarse  bool
}

func readMinutes(ctx context.Context, past Past, q Request, until time.Time) (*minutes, error) {
	m := &minutes{from: q.Week.From, until: until, byGland: make(map[string][]minute), rise: make(map[string]float64)}
	n := int(math.Ceil(until.Sub(m.from).Minutes()))
	for _, g := range q.Glands {
		m.byGland[g.Rules.ID] = make([]minute, n)
	}
	// An hour that began before the week may reach into it, where zones are half
	// an hour off.
	return m, past.EachAggregate(ctx, m.from.Add(-time.Hour), until, func(series string, a agent.Aggregate) error {
		m.add(series, a)
		return nil
	})
}

func (m *minutes) add(series string, a agent.Aggregate) {
	dot := strings.LastIndexByte(series, '.')
	if dot < 0 {
		return
	}
	id, what := series[:dot], series[dot+1:]
	list, known := m.byGland[id]
	if !known || !a.Start.Add(a.Period).After(m.from) {
		return
	}
	if what == agent.SeriesRise {
		m.rise[id] = max(m.rise[id], a.Max)
		return
	}
	if what != agent.SeriesDPM && what != agent.SeriesRest {
		return
	}
	m.coarse = m.coarse || a.Period > time.Minute
	first := int(math.Floor(a.Start.Sub(m.from).Minutes()))
	seconds := spread(a)
	for i := range seconds {
		if at := first + i; at >= 0 && at < len(list) {
			list[at].put(what, trimmed(a), seconds[i])
		}
	}
}

// trimmed is the mean without the least and the most value: in the first second
// after a start the weep is reckoned from one drop, and may be anything.
func trimmed(a agent.Aggregate) float64 {
	if a.Count < 3 {
		return a.Mean
	}
	n := float64(a.Count)
	return max(0, (a.Mean*n-a.Min-a.Max)/(n-2))
}

// spread gives how many seconds of each minute an aggregate tells of: where only
// the hour is known, its minutes from the first on.
func spread(a agent.Aggregate) []float64 {
	out := make([]float64, a.Period/time.Minute)
	left := float64(a.Count)
	for i := range out {
		out[i] = min(left, 60)
		left -= out[i]
	}
	return out
}

func (m *minute) put(what string, mean, seconds float64) {
	if what == agent.SeriesRest {
		m.rest = min(m.rest+seconds, 60)
		return
	}
	m.drops += mean * seconds
	m.known += seconds
}

// kind is how a minute counts.
type kind uint8

const (
	unwatched kind = iota
	band
	atRest
	dry
	leaking
	gushing
)

// kind judges a minute by the limits in force. At rest a gland is not dry, but
// it may leak. A minute of which little is known counts as it was then.
func (m minute) kind(l rules.Limits) kind {
	resting := m.rest > 30 || m.rest > 0 && m.rest >= m.known
	if m.known == 0 {
		if resting {
			return atRest
		}
		return unwatched
	}
	switch dpm := m.drops / m.known; {
	case dpm > l.GushDPM:
		return gushing
	case dpm > l.LeakDPM:
		return leaking
	case resting:
		return atRest
	case dpm < l.DryDPM:
		return dry
	default:
		return band
	}
}

// tally adds the minutes of a gland up.
func (m *minutes) tally(g *Gland, info agent.GlandInfo) {
	list := m.byGland[g.ID]
	g.Hours = make([]Hour, (len(list)+59)/60)
	var weep, seconds float64
	for i, one := range list {
		length := min(time.Minute, m.until.Sub(m.from)-time.Duration(i)*time.Minute)
		hour := &g.Hours[i/60]
		part := length.Hours()
		weep, seconds = weep+one.drops, seconds+one.known
		switch one.kind(info.Rules.Limits) {
		case unwatched:
			g.Time.Unwatched += length
		case band:
			g.Time.Band += length
			hour.Band += part
		case atRest:
			g.Time.Band += length
			g.Time.Rest += length
			hour.Band += part
		case dry:
			g.Time.Dry += length
			hour.Dry += part
		case gushing:
			g.Time.Gushing += length
			fallthrough
		case leaking:
			g.Time.Leaking += length
			hour.Leaking += part
		}
	}
	if seconds > 0 {
		g.MeanDPM = weep / seconds
	}
	g.MostRise = m.rise[g.ID]
}

// drops counts those of a gland's watched minutes. A minute that was watched in
// part counts for its whole length, as it does in the times.
func (m *minutes) drops(id string) (sum float64) {
	for i, one := range m.byGland[id] {
		if one.known > 0 {
			length := min(time.Minute, m.until.Sub(m.from)-time.Duration(i)*time.Minute)
			sum += one.drops / one.known * length.Minutes()
		}
	}
	return sum
}
