package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"weepd/agent"
)

// weepsReach is how far back the weep is read for a gland's upkeep if no
// repacking says.
const weepsReach = 400 * day

// weeps reads the weep that the history kept for the upkeep, of each gland since
// its last repacking.
func (s *Store) weeps(ctx context.Context, log []agent.Upkeep) (map[string][]agent.KeptWeep, error) {
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	return s.history.db.weeps(ctx, log, s.opts.Now())
}

func (d *database) weeps(ctx context.Context, log []agent.Upkeep, now time.Time) (map[string][]agent.KeptWeep, error) {
	// One that was recorded by mistake may be corrected yet.
	from := make(map[string]time.Time)
	for _, u := range log {
		if u.Kind == agent.EntryRepacked {
			from[u.Gland] = u.Time.Add(-weepsReach / 4)
		}
	}
	oldest := now.Add(-weepsReach)
	for _, t := range from {
		if t.Before(oldest) {
			oldest = t
		}
	}
	samples, err := d.weepSamples(ctx, oldest)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", historyFile, err)
	}
	out := make(map[string][]agent.KeptWeep)
	for name, weep := range samples {
		gland, ok := strings.CutSuffix(name, "."+agent.SeriesWeep)
		if !ok {
			continue
		}
		since, repacked := from[gland]
		if !repacked {
			since = now.Add(-weepsReach)
		}
		out[gland] = joinWeeps(weep, samples[gland+"."+agent.SeriesWatched], since)
	}
	return out, nil
}

// weepSamples reads both series of every gland in one pass, each in order.
func (d *database) weepSamples(ctx context.Context, from time.Time) (map[string][]agent.Sample, error) {
	out := make(map[string][]agent.Sample)
	for _, tier := range []struct {
		table  string
		period time.Duration
	}{{tableHour, time.Hour}, {tableMinute, time.Minute}} {
		rows, err := d.QueryContext(ctx, "SELECT s.name, t.data FROM "+tier.table+" t JOIN series s ON s.id=t.series "+
			"WHERE t.id>=? AND (s.name LIKE ? OR s.name LIKE ?)", from.Add(-day).UnixNano(), "%."+agent.SeriesWeep, "%."+agent.SeriesWatched)
		err = each(rows, err, func() error {
			var name string
			var data []byte
			if err := rows.Scan(&name, &data); err != nil {
				return err
			}
			list, err := decodeAggregates(data)
			for _, a := range list {
				if start := time.Unix(0, a.index*int64(tier.period)).UTC(); !start.Before(from) {
					out[name] = append(out[name], agent.Sample{Start: start, Min: a.min, Mean: a.mean, Max: a.max})
				}
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	for _, list := range out {
		slices.SortFunc(list, func(a, b agent.Sample) int { return a.Start.Compare(b.Start) })
	}
	return out, nil
}

// joinWeeps joins the two series of a gland.
func joinWeeps(weep, watched []agent.Sample, from time.Time) []agent.KeptWeep {
	minutes := make(map[time.Time]agent.Sample, len(watched))
	for _, w := range watched {
		minutes[w.Start] = w
	}
	var out []agent.KeptWeep
	for _, w := range weep {
		if m, found := minutes[w.Start]; found && !w.Start.Before(from) {
			out = append(out, agent.KeptWeep{To: w.Start, DPM: w.Mean, Span: inMinutes(m.Max), Watched: inMinutes(m.Min)})
		}
	}
	return out
}

func inMinutes(v float64) time.Duration { return time.Duration(v * float64(time.Minute)) }
