package compare

import (
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

const (
	day  = 24 * time.Hour
	week = 7 * day
	// Day 0 of Unix time was a Thursday; weeks begin on Monday, UTC (ISO 8601).
	firstMonday = -3 * day
)

// Watch follows which time a recording covers, without its gaps.
type Watch struct {
	First, Last time.Duration
	Watched     time.Duration
	byWeek      map[int64]time.Duration
	any         bool
}

// Row takes the next row, in order of time.
func (w *Watch) Row(r reading.Reading) {
	if !w.any {
		w.First, w.Last, w.any = r.At, r.At, true
		w.byWeek = map[int64]time.Duration{}
		return
	}
	if since := r.At - w.Last; since > 0 && since <= rules.MaxSilence {
		w.Watched += since
		w.byWeek[weekOf(w.Last)] += since
	}
	w.Last = max(w.Last, r.At)
}

func weekOf(at time.Duration) int64 {
	weeks := (at - firstMonday) / week
	if at < firstMonday {
		weeks--
	}
	return int64(weeks)
}

// weeks gives the weeks from the first row to the last, with the alarms of each.
func (w *Watch) weeks(before, after *Spans) []Week {
	var list []Week
	if !w.any {
		return list
	}
	for n := weekOf(w.First); n <= weekOf(w.Last); n++ {
		list = append(list, Week{
			Monday: Instant(time.Duration(n)*week + firstMonday).Time().Format(time.DateOnly),
			Hours:  w.byWeek[n].Hours(),
		})
	}
	count := func(s *Spans, add func(*Week)) {
		for _, r := range s.raises() {
			if i := int(weekOf(r.at) - weekOf(w.First)); i >= 0 && i < len(list) {
				add(&list[i])
			}
		}
	}
	count(before, func(k *Week) { k.Old++ })
	count(after, func(k *Week) { k.New++ })
	return slices.Clip(list)
}
