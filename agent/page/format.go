package page

import (
	"math"
	"strconv"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// rate writes drops per minute with no more digits than a count can carry.
func rate(dpm float64) string {
	if dpm < 9.95 {
		return strconv.FormatFloat(dpm, 'f', 1, 64)
	}
	return strconv.FormatFloat(math.Round(dpm), 'f', 0, 64)
}

// short writes a limit as it was set.
func short(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

func celsius(c float64) string { return strconv.FormatFloat(c, 'f', 1, 64) }

// age writes how long ago something was, the coarser the longer: a text that
// changes seldom costs little.
func (t texts) age(d time.Duration) string {
	switch {
	case d < 10*time.Second:
		return t.say("age.now")
	case d < time.Minute:
		return t.say("age.seconds", int(d/(10*time.Second))*10)
	default:
		return t.span(d)
	}
}

// span writes a duration in its two largest units.
func (t texts) span(d time.Duration) string {
	switch {
	case d < time.Minute:
		return t.say("span.seconds", int(d/time.Second))
	case d < time.Hour:
		return t.say("span.minutes", int(d/time.Minute))
	case d < 24*time.Hour:
		return t.units("hours", int(d/time.Hour), int(d%time.Hour/time.Minute))
	default:
		return t.units("days", int(d/(24*time.Hour)), int(d%(24*time.Hour)/time.Hour))
	}
}

// units leaves out a smaller unit of which there is none.
func (t texts) units(name string, large, small int) string {
	if small == 0 {
		return t.say("span."+name+".even", large)
	}
	return t.say("span."+name, large, small)
}

// when writes a moment as seen from now: the time of day, and the day if it is
// another.
func when(at, now time.Time) string {
	at = at.In(now.Location())
	if sameDay(at, now) {
		return at.Format("15:04:05")
	}
	return at.Format("2006-01-02 15:04")
}

func sameDay(a, b time.Time) bool {
	return a.Format(time.DateOnly) == b.Format(time.DateOnly)
}

// full writes a moment with its day and zone.
func full(at time.Time) string { return at.Format("2006-01-02 15:04:05 MST") }

// value is a quantity in words: a number, or why there is none.
type value struct {
	Text  string
	Known bool
	Note  string // beside a number: inferred
	Age   string
	AgeS  int // seconds
	Old   bool
}

// oldAge is beyond what a live sensor stays silent: the loop then says that it
// does not answer (agent's watchdog).
const oldAge = 25 * time.Second

// pointValue says of a point why its number is missing, if it is.
func (t texts) pointValue(g row, k reading.Kind, known bool, number string) value {
	p := g.gland.Points[k]
	v := value{Text: number, Known: known && p.Good()}
	if p.Seen {
		v.Age, v.AgeS, v.Old = t.age(p.Age), int(p.Age/time.Second), p.Age > oldAge
	}
	switch {
	case !g.gland.Rules.Fitted[k]:
		v.Text = t.say("value.unfitted")
	case !p.Seen:
		v.Text = t.say("value.none")
	case !p.Quality.OK():
		v.Text = t.orElse("quality.", p.Quality.String())
	case !known:
		v.Text = t.say("value.unknown")
	case p.Quality == reading.Inferred:
		v.Note = t.say("value.inferred")
	}
	return v
}

func (t texts) turning(q rules.Quantity) value {
	v := value{Known: q.Known}
	switch {
	case !q.Known:
		v.Text = t.say("shaft.unknown")
	case q.Value != 0:
		v.Text = t.say("shaft.turning")
	default:
		v.Text = t.say("shaft.rest")
	}
	if q.Known && q.Quality == reading.Inferred {
		v.Note = t.say("value.inferred")
	}
	return v
}
