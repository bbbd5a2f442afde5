package store

import (
	"context"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
)

// AddReadings implements agent.History. Without an open store there is none.
func (k *Keeper) AddReadings(list ...reading.Reading) {
	peek(k, func(s *Store) bool { s.AddReadings(list...); return true })
}

// Observe implements agent.History.
func (k *Keeper) Observe(series string, wall time.Time, v float64) {
	peek(k, func(s *Store) bool { s.Observe(series, wall, v); return true })
}

// Flush implements agent.History.
func (k *Keeper) Flush(ctx context.Context, now agent.Stamp) error {
	return k.use(func(s *Store) error { return s.Flush(ctx, Stamp(now)) })
}

// FlushAll implements agent.History.
func (k *Keeper) FlushAll(ctx context.Context, now agent.Stamp) error {
	return k.use(func(s *Store) error { return s.FlushAll(ctx, Stamp(now)) })
}

// Maintain implements agent.History.
func (k *Keeper) Maintain(ctx context.Context, now agent.Stamp) error {
	return k.use(func(s *Store) error { return s.Maintain(ctx, Stamp(now)) })
}

// Heartbeat implements agent.History.
func (k *Keeper) Heartbeat(now agent.Stamp) error {
	return k.use(func(s *Store) error { return s.Heartbeat(Stamp(now)) })
}

// StoreBytes gives what the store's files take and may take; false while they
// cannot be read.
func (k *Keeper) StoreBytes() (used, bound int64, ok bool) {
	s := peek(k, func(s *Store) *Store { return s })
	if s == nil {
		return 0, 0, false
	}
	files, err := s.Files()
	return files, s.bound.Load(), err == nil
}

// HistoryDropped counts the readings and minutes that memory had no room for.
func (k *Keeper) HistoryDropped() uint64 {
	return peek(k, func(s *Store) uint64 { _, dropped := s.Buffered(); return dropped })
}

// Samples gives a series in [from, to), in at most about most steps; see
// Store.Samples.
func (k *Keeper) Samples(ctx context.Context, series string, from, to time.Time, most int) ([]agent.Sample, time.Duration, error) {
	var step time.Duration
	list, err := read(k, func(s *Store) (list []Sample, err error) {
		list, step, err = s.Samples(ctx, series, from, to, most)
		return list, err
	})
	out := make([]agent.Sample, 0, len(list))
	for _, one := range list {
		out = append(out, agent.Sample{Start: one.Start, Min: one.Min, Mean: one.Mean, Max: one.Max})
	}
	return out, step, err
}
