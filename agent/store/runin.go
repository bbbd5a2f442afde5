package store

import (
	"context"
	"math"
	"time"

	"weepd/agent"
)

// longestRunIn is how long a run-in may have gone on whose curve is read back.
const longestRunIn = 4 * day

// runInSamples are read at most: minutes of two days, else longer steps.
const runInSamples = 3000

// runInMinutes reads the minutes since each gland's newest repacking.
func (s *Store) runInMinutes(ctx context.Context, log []agent.Upkeep) (map[string][]agent.KeptMinute, error) {
	since := make(map[string]time.Time)
	for _, u := range log {
		if u.Kind == agent.EntryRepacked && s.opts.Now().Sub(u.Time) < longestRunIn {
			since[u.Gland] = u.Time
		}
	}
	out := make(map[string][]agent.KeptMinute)
	for gland, from := range since {
		to := s.opts.Now().Add(time.Minute)
		weep, _, err := s.Samples(ctx, gland+"."+agent.SeriesDPM, from, to, runInSamples)
		if err != nil {
			return nil, err
		}
		rises, _, err := s.Samples(ctx, gland+"."+agent.SeriesRise, from, to, runInSamples)
		if err != nil {
			return nil, err
		}
		rise := make(map[time.Time]float64, len(rises))
		for _, r := range rises {
			rise[r.Start] = r.Mean
		}
		for _, w := range weep {
			k := agent.KeptMinute{Time: w.Start, DPM: w.Mean, RiseC: math.NaN()}
			if c, known := rise[w.Start]; known {
				k.RiseC = c
			}
			out[gland] = append(out[gland], k)
		}
	}
	return out, nil
}
