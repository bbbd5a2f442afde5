package compare

import (
	"cmp"
	"slices"
	"time"
)

// The measures of the operator's load are those of IEC 62682 and ISA-18.2, with
// their figures from memory (no document seen): about one alarm in ten minutes
// is acceptable and about two can be managed; more than ten within ten minutes
// are a flood, which ends when fewer than five are; an alarm that comes three
// times or more within a minute chatters; one that stands for more than a day is
// stale, and fewer than five of these are accepted on any day.
const (
	Period         = 10 * time.Minute
	AcceptableRate = 1.0 // alarms a period
	ManageableRate = 2.0
	FloodAbove     = 10 // alarms within a period
	FloodOver      = 5
	ChatterTimes   = 3
	ChatterWithin  = time.Minute
	StaleAfter     = 24 * time.Hour
)

// Load is what one configuration would have asked of the operator. Every
// condition of every gland counts as an alarm of its own.
type Load struct {
	Alarms       int       `json:"alarms"`
	PerPeriod    float64   `json:"alarms_per_10_minutes"` // on average while watched
	WorstPeriod  int       `json:"most_within_10_minutes"`
	Floods       int       `json:"floods"`
	FloodSeconds float64   `json:"flood_s"`
	Chattering   []Chatter `json:"chattering"`
	Stale        []Stale   `json:"standing_over_24_hours"`
	Frequent     []Share   `json:"most_frequent"`
	// Periods counts the ten-minute periods with so many alarms: 0, 1, 2, 3 to 5,
	// 6 to 10, more.
	Periods [len(periodUpTo) + 1]int `json:"-"`
}

// Chatter is an alarm that came and went too often.
type Chatter struct {
	Gland     string `json:"gland"`
	Condition string `json:"condition"`
	Episodes  int    `json:"episodes"`
	Alarms    int    `json:"alarms"` // in these
}

// Stale is an alarm that stood for longer than a day.
type Stale struct {
	Gland     string  `json:"gland"`
	Condition string  `json:"condition"`
	From      Instant `json:"from"`
	Seconds   float64 `json:"stood_s"`
	Open      bool    `json:"still_active"`
}

// Share is one alarm's part of all.
type Share struct {
	Gland     string  `json:"gland"`
	Condition string  `json:"condition"`
	Alarms    int     `json:"alarms"`
	Share     float64 `json:"share"`
}

const mostFrequent = 10

// load measures the alarms of a replay that was watched for so long.
func (s *Spans) load(watched time.Duration) Load {
	raises := s.raises()
	l := Load{Alarms: len(raises), Chattering: []Chatter{}, Stale: []Stale{}, Frequent: []Share{}}
	if watched > 0 {
		l.PerPeriod = float64(len(raises)) / (float64(watched) / float64(Period))
	}
	l.WorstPeriod = worst(raises)
	l.floods(raises)
	l.periods(raises, watched)
	for _, key := range s.keys() {
		l.look(key, s.byKey[key])
	}
	slices.SortStableFunc(l.Frequent, func(a, b Share) int { return cmp.Compare(b.Alarms, a.Alarms) })
	l.Frequent = l.Frequent[:min(len(l.Frequent), mostFrequent)]
	return l
}

func (l *Load) look(key Key, spans []Span) {
	gland, condition := key.Gland, key.Condition.String()
	l.Frequent = append(l.Frequent, Share{gland, condition, len(spans), float64(len(spans)) / float64(l.Alarms)})
	if c := chatter(spans); c.Episodes > 0 {
		c.Gland, c.Condition = gland, condition
		l.Chattering = append(l.Chattering, c)
	}
	for _, span := range spans {
		if stood := span.To - span.From; stood > StaleAfter {
			l.Stale = append(l.Stale, Stale{gland, condition, Instant(span.From), stood.Seconds(), span.Open})
		}
	}
}

// keys gives the conditions that were raised, by gland and urgency.
func (s *Spans) keys() []Key {
	var keys []Key
	for key := range s.byKey {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, compareKeys)
	return keys
}

// worst is the most alarms within any period.
func worst(raises []raise) int {
	most, first := 0, 0
	for i, r := range raises {
		for r.at-raises[first].at >= Period {
			first++
		}
		most = max(most, i-first+1)
	}
	return most
}

// floods counts floods and their time: from the alarm that makes more than
// FloodAbove within a period, until fewer than FloodOver are.
func (l *Load) floods(raises []raise) {
	first := 0
	flood, since := false, time.Duration(0)
	end := func(at time.Duration) {
		l.FloodSeconds += (at - since).Seconds()
		flood = false
	}
	for i, r := range raises {
		if calm := i - FloodOver; flood && calm >= 0 && r.at-raises[calm].at > Period {
			// Fewer than FloodOver were left since the alarm before this one.
			end(raises[calm].at + Period)
		}
		for r.at-raises[first].at >= Period {
			first++
		}
		if !flood && i-first+1 > FloodAbove {
			flood, since = true, r.at
			l.Floods++
		}
	}
	if flood {
		end(raises[len(raises)-FloodOver].at + Period)
	}
}

// chatter finds the episodes in which an alarm came ChatterTimes or more within
// ChatterWithin.
func chatter(spans []Span) (c Chatter) {
	last := -1 // the last alarm that is in an episode
	for i := ChatterTimes - 1; i < len(spans); i++ {
		first := i - ChatterTimes + 1
		if spans[i].From-spans[first].From >= ChatterWithin {
			continue
		}
		if first > last {
			c.Episodes++
		}
		c.Alarms += i - max(first-1, last)
		last = i
	}
	return c
}

// periodUpTo are the classes of periods by their alarms.
var periodUpTo = [...]int{0, 1, 2, 5, 10}

// PeriodClasses names the classes of Load.Periods.
func PeriodClasses() []string { return []string{"0", "1", "2", "3-5", "6-10", "over 10"} }

func (l *Load) periods(raises []raise, watched time.Duration) {
	counts := map[time.Duration]int{}
	for _, r := range raises {
		counts[r.at/Period]++
	}
	for _, n := range counts {
		class := 0
		for class < len(periodUpTo) && n > periodUpTo[class] {
			class++
		}
		l.Periods[class]++
	}
	l.Periods[0] = max(0, int((watched+Period-1)/Period)-len(counts))
}
