package compare

import (
	"encoding/json"
	"slices"
	"time"

	"weepd/rules"
)

// Instant is a moment of the recording: steady time that is its Unix time.
type Instant time.Duration

// Time gives the wall time that the recording holds.
func (i Instant) Time() time.Time { return time.Unix(0, int64(i)).UTC() }

// String gives RFC 3339 in UTC, to the millisecond.
func (i Instant) String() string { return i.Time().Format("2006-01-02T15:04:05.000Z07:00") }

// MarshalJSON gives the moment as a text.
func (i Instant) MarshalJSON() ([]byte, error) { return json.Marshal(i.String()) }

// Result is two configurations over one recording, side by side.
type Result struct {
	Station string  `json:"station"`
	OldFile string  `json:"old_config"`
	NewFile string  `json:"new_config"`
	From    Instant `json:"from"`
	To      Instant `json:"to"`
	Watched float64 `json:"watched_s"` // without gaps
	Within  float64 `json:"matched_within_s"`
	Rows    int64   `json:"rows"`
	// Alone are glands that only one of the configurations has.
	Alone   []Alone   `json:"glands_in_one_only"`
	Changes []Setting `json:"settings_changed"`
	Lines   []Line    `json:"conditions"`
	Weeks   []Week    `json:"weeks"`
	Zone    string    `json:"weeks_zone"`
	// OldPerWeek and NewPerWeek are alarms in a watched week; nil where less than
	// a week was watched.
	OldPerWeek *float64 `json:"old_alarms_per_week"`
	NewPerWeek *float64 `json:"new_alarms_per_week"`
	OldLoad    Load     `json:"old_load"`
	NewLoad    Load     `json:"new_load"`
}

// Alone is a gland that only one configuration has.
type Alone struct {
	Gland string `json:"gland"`
	File  string `json:"config"`
}

// Setting is a setting of a gland that differs.
type Setting struct {
	Gland string `json:"gland"`
	Key   string `json:"key"`
	Old   string `json:"old"`
	New   string `json:"new"`
}

// Week is a week of the recording, from Monday 00:00 of the zone.
type Week struct {
	Monday string  `json:"week_from"`
	Hours  float64 `json:"watched_hours"`
	Old    int     `json:"old"`
	New    int     `json:"new"`
}

// Line is one condition of one gland.
type Line struct {
	Gland     string  `json:"gland"`
	Condition string  `json:"condition"`
	Priority  string  `json:"priority"`
	Both      int     `json:"both"`
	OnlyOld   int     `json:"only_old"`
	OnlyNew   int     `json:"only_new"`
	Earlier   int     `json:"earlier"` // of both
	Later     int     `json:"later"`
	Shift     *Shift  `json:"shift"` // nil without an alarm in both
	Alarms    []Alarm `json:"alarms"`
}

// Shift says how much earlier (negative) or later (positive) the new
// configuration raises what both raise.
type Shift struct {
	Median   float64 `json:"median_s"`
	Earliest float64 `json:"earliest_s"`
	Latest   float64 `json:"latest_s"`
}

// Alarm is an alarm of either or both.
type Alarm struct {
	Old   *Life    `json:"old"`
	New   *Life    `json:"new"`
	Shift *float64 `json:"shift_s"`
}

// Life is one alarm's time.
type Life struct {
	From Instant `json:"from"`
	To   Instant `json:"to"`
	Open bool    `json:"still_active"`
}

// Seconds is how long it was active.
func (l Life) Seconds() float64 { return time.Duration(l.To - l.From).Seconds() }

// Of compares the alarms of two replays of what w watched; alarms match within
// a time, see Match. The glands and conditions come in the given order of
// glands.
func Of(before, after *Spans, w *Watch, within time.Duration, glands []string) Result {
	before.End(w.Last)
	after.End(w.Last)
	r := Result{
		From: Instant(w.First), To: Instant(w.Last), Watched: w.Watched.Seconds(), Within: within.Seconds(),
		Alone: []Alone{}, Changes: []Setting{}, Lines: []Line{}, Weeks: w.weeks(before, after),
		OldLoad: before.load(w.Watched), NewLoad: after.load(w.Watched),
	}
	r.Zone = "UTC"
	if w.Zone != nil {
		r.Zone = w.Zone.String()
	}
	for _, gland := range glands {
		for c := range rules.Conditions {
			key := Key{gland, c}
			if line := lineOf(key, before.Of(key), after.Of(key), within); len(line.Alarms) > 0 {
				r.Lines = append(r.Lines, line)
			}
		}
	}
	if w.Watched >= week {
		perWeek := func(n int) *float64 {
			rate := float64(n) / (float64(w.Watched) / float64(week))
			return &rate
		}
		r.OldPerWeek, r.NewPerWeek = perWeek(r.OldLoad.Alarms), perWeek(r.NewLoad.Alarms)
	}
	return r
}

func lineOf(key Key, before, after []Span, within time.Duration) Line {
	line := Line{Gland: key.Gland, Condition: key.Condition.String(), Priority: key.Condition.Priority().String(), Alarms: []Alarm{}}
	var shifts []float64
	for _, p := range Match(before, after, within) {
		var a Alarm
		if p.Old >= 0 {
			a.Old = life(before[p.Old])
		}
		if p.New >= 0 {
			a.New = life(after[p.New])
		}
		switch {
		case p.Both():
			shift := (after[p.New].From - before[p.Old].From).Seconds()
			a.Shift = &shift
			shifts = append(shifts, shift)
			line.count(shift)
		case p.Old >= 0:
			line.OnlyOld++
		default:
			line.OnlyNew++
		}
		line.Alarms = append(line.Alarms, a)
	}
	if len(shifts) > 0 {
		slices.Sort(shifts)
		line.Shift = &Shift{Median: median(shifts), Earliest: shifts[0], Latest: shifts[len(shifts)-1]}
	}
	return line
}

func (l *Line) count(shift float64) {
	l.Both++
	switch {
	case shift < 0:
		l.Earlier++
	case shift > 0:
		l.Later++
	}
}

func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func life(s Span) *Life { return &Life{Instant(s.From), Instant(s.To), s.Open} }
