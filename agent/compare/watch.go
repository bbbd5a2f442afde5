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
)

// Watch follows which time a recording covers, without its gaps.
type Watch struct {
	Zone        *time.Location // of weeks; nil: UTC
	First, Last time.Duration
	Watched     time.Duration
	byWeek      map[int64]*time.Duration
	now         *time.Duration // of the week that w.Last is in
	until       time.Duration  // the week is looked at again from then on
	any         bool
}

// Row takes the next row, in order of time.
func (w *Watch) Row(r reading.Reading) {
	if !w.any {
		w.First, w.Last, w.any = r.At, r.At, true
		w.byWeek = map[int64]*time.Duration{}
		return
	}
	if since := r.At - w.Last; since > 0 && since <= rules.MaxSilence {
		w.Watched += since
		if w.now == nil || w.Last >= w.until {
			w.turn()
		}
		*w.now += since
	}
	w.Last = max(w.Last, r.At)
}

// turn looks which week it is. Midnights fall on quarters of an hour in every zone
// of today.
func (w *Watch) turn() {
	const quarter = 15 * time.Minute
	n := w.weekOf(w.Last)
	if w.byWeek[n] == nil {
		w.byWeek[n] = new(time.Duration)
	}
	w.now, w.until = w.byWeek[n], w.Last.Truncate(quarter)+quarter
}

// weekOf numbers weeks from that of 1970-01-01, a Thursday; they begin on Monday
// (ISO 8601) at midnight of the zone.
func (w *Watch) weekOf(at time.Duration) int64 {
	t := Instant(at).Time()
	if w.Zone != nil {
		t = t.In(w.Zone)
	}
	date := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400
	return (date + 3 + 7*10_000) / 7 // whole weeks added, so that it rounds down
}

// monday is the first day of a week, as a date.
func monday(week int64) string {
	return time.Unix((week*7-3-7*10_000)*86400, 0).UTC().Format(time.DateOnly)
}

// weeks gives the weeks from the first row to the last, with the alarms of each.
func (w *Watch) weeks(before, after *Spans) []Week {
	list := []Week{}
	if !w.any {
		return list
	}
	for n := w.weekOf(w.First); n <= w.weekOf(w.Last); n++ {
		list = append(list, Week{Monday: monday(n), Hours: w.hours(n)})
	}
	count := func(s *Spans, add func(*Week)) {
		for _, r := range s.raises() {
			if i := int(w.weekOf(r.at) - w.weekOf(w.First)); i >= 0 && i < len(list) {
				add(&list[i])
			}
		}
	}
	count(before, func(k *Week) { k.Old++ })
	count(after, func(k *Week) { k.New++ })
	return slices.Clip(list)
}

func (w *Watch) hours(week int64) float64 {
	if d := w.byWeek[week]; d != nil {
		return d.Hours()
	}
	return 0
}
