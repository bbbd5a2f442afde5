// Package weekly writes the week of a station for the planner: what each gland
// did, what was done to it and what to do next, in order of urgency, as HTML for
// paper and as CSV. It reads what an agent's store keeps.
package weekly

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Week is an ISO 8601 week where the station is: from Monday 00:00 to the next,
// which is an hour more or less where clocks change.
type Week struct {
	Year, Number int
	From, To     time.Time
}

// String gives it as ISO 8601 does, e.g. 2026-W07.
func (w Week) String() string { return fmt.Sprintf("%04d-W%02d", w.Year, w.Number) }

var weekPattern = regexp.MustCompile(`^([0-9]{4})-W([0-9]{2})$`)

// ParseWeek reads a week as 2026-W07.
func ParseWeek(text string, zone *time.Location) (Week, error) {
	parts := weekPattern.FindStringSubmatch(text)
	if parts == nil {
		return Week{}, fmt.Errorf("week %q: want YEAR-Wweek, such as 2026-W07", text)
	}
	year, _ := strconv.Atoi(parts[1])
	number, _ := strconv.Atoi(parts[2])
	// ISO 8601: 4 January is always in week 1.
	w := WeekOf(time.Date(year, 1, 4+7*(number-1), 12, 0, 0, 0, zone))
	if w.Year != year || w.Number != number {
		return Week{}, fmt.Errorf("week %q: %d has no week %d", text, year, number)
	}
	return w, nil
}

// WeekOf gives the week that a moment lies in, in the moment's zone.
func WeekOf(at time.Time) Week {
	year, number := at.ISOWeek()
	sinceMonday := (int(at.Weekday()) + 6) % 7
	y, m, d := at.Date()
	// By date, not by hours: days may have 23 or 25 of them.
	from := time.Date(y, m, d-sinceMonday, 0, 0, 0, 0, at.Location())
	to := time.Date(y, m, d-sinceMonday+7, 0, 0, 0, 0, at.Location())
	return Week{year, number, from, to}
}

// LastWhole gives the last week that is over at a moment.
func LastWhole(at time.Time) Week {
	this := WeekOf(at)
	y, m, d := this.From.Date()
	return WeekOf(time.Date(y, m, d-1, 12, 0, 0, 0, at.Location()))
}
