package agent

import (
	"fmt"
	"time"

	"weepd/rules"
	"weepd/rules/upkeep"
)

// UpkeepOf says what is known of each gland's upkeep at a moment from what a
// store keeps, as an agent that starts then would know it; without run-ins.
func UpkeepOf(glands []GlandInfo, log []Upkeep, weeps map[string][]KeptWeep, at time.Time) (map[string]*UpkeepState, error) {
	var cfg rules.Config
	known := make(map[string]bool)
	for _, g := range glands {
		cfg.Glands = append(cfg.Glands, g.Rules)
		known[g.Rules.ID] = true
	}
	core, err := rules.NewStation(cfg)
	if err != nil {
		return nil, err
	}
	// Nothing is measured any more: steady time may as well be the wall's.
	steady := func(wall time.Time) time.Duration { return time.Duration(wall.UnixNano()) }
	wall := func(at time.Duration) time.Time { return time.Unix(0, int64(at)) }
	core.Advance(steady(at))
	entries, _, _ := keptEntries(log, func(id string) bool { return known[id] }, steady)
	out := make(map[string]*UpkeepState, len(glands))
	for _, g := range glands {
		id := g.Rules.ID
		var buckets []upkeep.Bucket
		for _, k := range weeps[id] {
			buckets = append(buckets, upkeep.Bucket{
				From: steady(k.To) - max(k.Span, k.Watched), To: steady(k.To), Watched: k.Watched, Drops: uint32(k.DPM*k.Watched.Minutes() + 0.5),
			})
		}
		if err := core.Restore(id, entries[id], buckets); err != nil {
			return nil, fmt.Errorf("upkeep of %s: %w", id, err)
		}
		state, _ := core.Upkeep(id)
		out[id] = NewUpkeepState(id, state, wall)
	}
	return out, nil
}
