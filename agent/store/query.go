package store

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"weepd/rules/reading"
)

// Recorded is a reading with the wall time it had.
type Recorded struct {
	reading.Reading
	Wall time.Time // UTC
}

// Readings hands every stored reading with from <= wall time < to to do, in
// order of wall time, until do gives an error, which is returned. What waits
// for Flush is not among them. It holds about two hours of readings in memory.
func (s *Store) Readings(ctx context.Context, from, to time.Time, do func(Recorded) error) error {
	span, err := s.history.span(ctx, tableReading)
	if err != nil {
		return err
	}
	begin := max(from.UnixNano(), span[0])
	end := min(to.UnixNano(), span[1]+2*int64(longestReadings))
	for ; begin < end; begin += int64(longestReadings) {
		list, err := s.history.window(ctx, begin, min(begin+int64(longestReadings), end))
		if err != nil {
			return fmt.Errorf("read %s: %w", historyFile, err)
		}
		for _, r := range list {
			if err := do(r); err != nil {
				return err
			}
		}
	}
	return nil
}

// span gives the first and the last id of a table.
func (h *history) span(ctx context.Context, table string) (ids [2]int64, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	err = h.db.QueryRowContext(ctx, "SELECT ifnull(min(id),0), ifnull(max(id),-1) FROM "+table).Scan(&ids[0], &ids[1])
	return ids, typed(err)
}

// window gives the readings of [from, to): a stretch may begin up to
// longestReadings before.
func (h *history) window(ctx context.Context, from, to int64) ([]Recorded, error) {
	h.mu.Lock()
	stretches, err := h.db.stretchesOf(ctx, tableReading, 0, from-int64(longestReadings), to)
	h.mu.Unlock()
	if err != nil {
		return nil, err
	}
	var out []Recorded
	for _, st := range stretches {
		values, err := decodeValues(st.data)
		if err != nil {
			return nil, err
		}
		point, err := reading.ParsePoint(st.series)
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrCorrupt, err)
		}
		for _, v := range values {
			if wall := int64(v.at) + st.offset; wall >= from && wall < to {
				r := reading.Reading{At: v.at, Point: point, Value: v.value, Quality: v.quality}
				out = append(out, Recorded{r, time.Unix(0, wall).UTC()})
			}
		}
	}
	sortRecorded(out)
	return out, nil
}

// Sample is one step of a series.
type Sample struct {
	Start          time.Time // UTC
	Min, Mean, Max float64
	Count          uint64 // how many values
}

// steps are the resolutions that Samples chooses from.
var steps = [...]time.Duration{
	time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, 6 * time.Hour, day, 7 * day, 30 * day,
}

// Samples gives a series in [from, to) in at most about most steps, as fine
// as that allows, with what waits for Flush. Times without a value have no
// sample. Where minutes were thinned to hours, a step below an hour has
// samples an hour apart.
func (s *Store) Samples(ctx context.Context, series string, from, to time.Time, most int) ([]Sample, time.Duration, error) {
	step := steps[len(steps)-1]
	for i := len(steps) - 1; i >= 0 && to.Sub(from) <= time.Duration(most)*steps[i]; i-- {
		step = steps[i]
	}
	h := s.history
	h.mu.Lock()
	defer h.mu.Unlock()
	buckets := buckets{from: from.UnixNano(), to: to.UnixNano(), step: step, byIndex: make(map[int64]aggregate)}
	for _, tier := range []struct {
		table  string
		period time.Duration
	}{{tableHour, time.Hour}, {tableMinute, time.Minute}} {
		list, err := h.aggregates(ctx, tier.table, series, from.UnixNano(), to.UnixNano())
		if err != nil {
			return nil, step, fmt.Errorf("read %s: %w", historyFile, err)
		}
		buckets.add(list, tier.period)
	}
	buckets.add(h.minutes[series], time.Minute)
	return buckets.samples(), step, nil
}

// aggregates reads the stretches that may reach into [from, to).
func (h *history) aggregates(ctx context.Context, table, series string, from, to int64) ([]aggregate, error) {
	id, err := h.idOf(ctx, series)
	if err != nil || id == 0 {
		return nil, err
	}
	stretches, err := h.db.stretchesOf(ctx, table, id, from-int64(day), to)
	if err != nil {
		return nil, err
	}
	var out []aggregate
	for _, st := range stretches {
		list, err := decodeAggregates(st.data)
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
	}
	return out, nil
}

// idOf gives 0 for a series that has no row yet.
func (h *history) idOf(ctx context.Context, series string) (id int64, err error) {
	if id, found := h.series[series]; found {
		return id, nil
	}
	err = h.db.QueryRowContext(ctx, "SELECT ifnull(max(id),0) FROM series WHERE name=?", series).Scan(&id)
	return id, typed(err)
}

// buckets joins aggregates into steps.
type buckets struct {
	from, to int64
	step     time.Duration
	byIndex  map[int64]aggregate
}

func (b *buckets) add(list []aggregate, period time.Duration) {
	for _, a := range list {
		start := a.index * int64(period)
		if start < b.from || start >= b.to {
			continue
		}
		i := indexOf(start, b.step)
		if old, found := b.byIndex[i]; found {
			a = old.with(a)
		}
		b.byIndex[i] = a
	}
}

func (b *buckets) samples() []Sample {
	var out []Sample
	for _, i := range slices.Sorted(maps.Keys(b.byIndex)) {
		a := b.byIndex[i]
		out = append(out, Sample{time.Unix(0, i*int64(b.step)).UTC(), a.min, a.mean, a.max, a.n})
	}
	return out
}
