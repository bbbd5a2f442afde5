package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"weepd/agent"
)

// EachAggregate hands every minute of every series that begins in [from, to) to
// do, and where minutes were thinned every hour. A minute in which the agent was
// started anew comes in parts.
func (l *Look) EachAggregate(ctx context.Context, from, to time.Time, do func(series string, a agent.Aggregate) error) error {
	if l.history == nil {
		return nil
	}
	for _, tier := range []struct {
		table  string
		period time.Duration
	}{{tableHour, time.Hour}, {tableMinute, time.Minute}} {
		// A stretch is a day at the most.
		stretches, err := l.history.stretchesOf(ctx, tier.table, 0, from.Add(-day).UnixNano(), to.UnixNano())
		if err != nil {
			return fmt.Errorf("read %s: %w", historyFile, err)
		}
		for _, st := range stretches {
			list, err := decodeAggregates(st.data)
			if err != nil {
				return fmt.Errorf("read %s: %w", historyFile, err)
			}
			for _, a := range list {
				start := time.Unix(0, a.index*int64(tier.period)).UTC()
				if start.Before(from) || !start.Before(to) {
					continue
				}
				if err := do(st.series, agent.Aggregate{Start: start, Period: tier.period, Count: a.n, Min: a.min, Mean: a.mean, Max: a.max}); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// Events gives up to limit events after the seq, oldest first.
func (l *Look) Events(ctx context.Context, after uint64, limit int) ([]agent.Event, error) {
	rows, err := l.journal.events(ctx, int64(after), limit)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", journalFile, err)
	}
	return eventsOf(rows)
}

// Upkeep gives everything that people recorded, oldest first.
func (l *Look) Upkeep(ctx context.Context) ([]agent.Upkeep, error) {
	rows, err := l.journal.upkeepLog(ctx, "", 0, -1)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", journalFile, err)
	}
	out := make([]agent.Upkeep, 0, len(rows))
	for _, row := range rows {
		var u agent.Upkeep
		if err := json.Unmarshal(row.Payload, &u); err != nil {
			return nil, fmt.Errorf("upkeep entry %d: %w", row.ID, err)
		}
		out = append(out, u)
	}
	return out, nil
}

// Weeps gives the weep that was kept for the upkeep, of each gland since its last
// repacking, oldest first.
func (l *Look) Weeps(ctx context.Context, log []agent.Upkeep, now time.Time) (map[string][]agent.KeptWeep, error) {
	if l.history == nil {
		return nil, nil
	}
	return l.history.weeps(ctx, log, now)
}
