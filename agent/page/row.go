package page

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

// Levels of a gland or alarm: shape, colour and order.
const (
	high   = "high"
	medium = "medium"
	low    = "low"
	aside  = "aside" // set aside by people or logic
	normal = "normal"
)

func urgency(level string) int {
	return slices.Index([]string{high, medium, low, aside, normal}, level)
}

// row is a gland on the overview.
type row struct {
	gland *agent.Gland

	ID, Name string
	Level    string
	Waiting  bool   // not acknowledged
	State    string // in words
	InHand   string // who has it
	Since    string
	Side     string // of the band: low, high or in
	Shaft    value
	Weep     value
	Between  string // the weep's interval
	Rise     value
	Allowed  string // the band in words
	RiseMost string
	RunIn    bool
	Hot      bool // burning

	Marker, Whisker, Bar, Trend string
}

// newRow makes the row of a gland with its standing alarms, most urgent first.
func (s *Server) newRow(latest *agent.Snapshot, now time.Time, g agent.Gland, standing []agent.Alarm) row {
	b := bandOf(g)
	r := row{
		gland: &g, ID: g.Rules.ID, Name: cmp.Or(g.Name, g.Rules.ID), Level: normal, Shaft: s.texts.turning(g.State.Running),
		Allowed:  s.texts.say("row.allowed", short(b.dry), rate(b.leak)),
		RiseMost: s.texts.say("row.limit", short(b.rise)),
		RunIn:    b.leak > g.Rules.Limits.LeakDPM, Side: "in",
		Trend: s.trends.of(g.Rules.ID),
	}
	s.measured(&r, b)
	s.judged(&r, now, standing)
	if r.Level == normal {
		r.Since = normalSince(latest, now, g.Rules.ID)
	}
	return r
}

func (s *Server) measured(r *row, b band) {
	w := r.gland.State.Weep
	r.Weep = s.texts.pointValue(*r, reading.Drip, w.Known, rate(w.DPM))
	if r.Weep.Known {
		r.Between = s.texts.say("row.between", rate(w.LowDPM), rate(w.HighDPM))
		r.Marker, r.Whisker = b.marker(w.DPM), b.whisker(w.LowDPM, w.HighDPM)
	}
	r.Rise = s.riseValue(*r)
	if r.Rise.Known {
		r.Bar = b.bar(r.gland.State.RiseC.Value)
	}
}

// riseValue is a number only if both temperatures are good.
func (s *Server) riseValue(r row) value {
	known := r.gland.State.RiseC.Known
	v := s.texts.pointValue(r, reading.Temp, known, celsius(r.gland.State.RiseC.Value))
	ref := r.gland.Points[reading.Ref]
	switch {
	case !v.Known && r.gland.Points[reading.Temp].Good() && !r.gland.Rules.Fitted[reading.Ref]:
		v.Text = s.texts.say("value.noref")
	case !v.Known && r.gland.Points[reading.Temp].Good() && ref.Seen && !ref.Quality.OK():
		v.Text = s.texts.say("value.badref", s.texts.orElse("quality.", ref.Quality.String()))
	case v.Known && ref.Quality == reading.Inferred:
		v.Note = s.texts.say("value.inferred")
	}
	if ref.Seen && ref.Age > r.gland.Points[reading.Temp].Age {
		v.Age, v.AgeS, v.Old = s.texts.age(ref.Age), int(ref.Age/time.Second), ref.Age > oldAge
	}
	return v
}

// judged takes the state from the alarms.
func (s *Server) judged(r *row, now time.Time, standing []agent.Alarm) {
	var words, apart []string
	for _, a := range standing {
		word := s.texts.orElse("condition.", a.Condition)
		life := a.Life()
		if life.SetAside() {
			apart = append(apart, word+" "+s.texts.orElse("life.", a.AlarmState))
			continue
		}
		if !a.Active() {
			word += " " + s.texts.say("row.gone")
		}
		words = append(words, word)
		if r.worst(a.Priority, life) && a.Since != nil {
			r.Since = when(*a.Since, now)
		}
		if life.Acked() && r.InHand == "" {
			r.InHand = s.texts.say("row.inhand", a.By)
		}
		switch rules.Condition(slices.Index(conditionWords(), a.Condition)) {
		case rules.Dry:
			r.Side = low
		case rules.Leaking, rules.Gushing:
			r.Side = high
		case rules.Burning:
			r.Hot = true
		default:
		}
	}
	if r.Waiting {
		r.InHand = s.texts.say("row.waiting")
	}
	if len(words) == 0 && len(apart) > 0 {
		r.Level = aside
	}
	if len(words)+len(apart) == 0 {
		words = []string{s.texts.say("level.normal")}
	}
	r.State = strings.Join(append(words, apart...), ", ")
}

// worst takes over a level, and reports whether it is the row's.
func (r *row) worst(priority string, life alarm.State) bool {
	if waits(life) {
		r.Waiting = true
	}
	if urgency(priority) >= urgency(r.Level) {
		return false
	}
	r.Level = priority
	return true
}

func conditionWords() []string {
	var list []string
	for c := range rules.Conditions {
		list = append(list, c.String())
	}
	return list
}

// waits reports whether an alarm waits for somebody to acknowledge it.
func waits(s alarm.State) bool {
	return s == alarm.Unacknowledged || s == alarm.ReturnedUnacknowledged || s == alarm.LatchedUnacknowledged
}

// normalSince is when the last of a gland's alarms went.
func normalSince(s *agent.Snapshot, now time.Time, id string) string {
	var last time.Time
	for _, a := range s.Alarms {
		if a.Gland == id && a.Since != nil && a.Since.After(last) {
			last = *a.Since
		}
	}
	if last.IsZero() {
		return ""
	}
	return when(last, now)
}

// live gives what changes with every reading, by the number of its place in
// the row.
func (r row) live() []string {
	return []string{
		r.Weep.Text, r.Between, r.Marker, r.Whisker, r.Rise.Text, r.Bar, r.Weep.Age, r.Rise.Age, r.Trend,
	}
}

// fixed is all else: when it changes the row is sent anew.
func (r row) fixed() row {
	r.gland = nil
	for _, v := range []*value{&r.Weep, &r.Rise} {
		v.Age, v.AgeS = "", 0
		if v.Known {
			v.Text = ""
		}
	}
	r.Between, r.Marker, r.Whisker, r.Bar, r.Trend = "", "", "", "", ""
	return r
}

func sortRows(list []row) {
	slices.SortStableFunc(list, func(a, b row) int {
		return cmp.Or(cmp.Compare(urgency(a.Level), urgency(b.Level)), -compareBool(a.Waiting, b.Waiting))
	})
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	default:
		return -1
	}
}
