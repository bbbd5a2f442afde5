package weekly

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"weepd/rules"
)

// When something is to be done.
const (
	Now       = "now"
	First     = "first" // of a week that is long over
	ThisWeek  = "this week"
	PlanAhead = "plan"
)

// Task is one thing to do.
type Task struct {
	When  string
	Gland string
	Name  string
	What  string // in a few words
	Why   string // the figures behind it
	// Condition is what Report.How tells more about; empty: nothing.
	Condition string

	rank int
}

// A gland that was so long out of its band, or not watched, is worth a line;
// choices of ours.
const (
	shareOfWeek = 0.05
	dryShare    = 0.01
	unseenShare = 0.10
)

// tasks lists what to do, most urgent first.
func tasks(glands []Gland) []Task {
	var out []Task
	for _, g := range glands {
		out = append(out, g.tasks()...)
	}
	slices.SortStableFunc(out, func(a, b Task) int { return cmp.Compare(a.rank, b.rank) })
	return out
}

// Ranks: what burns, floods or wears comes before what can wait. Those of the
// alarms follow the rules' order.
const (
	rankActive   = 0 // and the condition's urgency
	rankHappened = 100
	rankForecast = 200
	rankBand     = 300
	rankBlind    = 400
	rankSettings = 500
)

func (g Gland) tasks() []Task {
	var out []Task
	add := func(rank int, when, what, why, condition string) {
		out = append(out, Task{when, g.ID, g.Name, what, why, condition, rank})
	}
	alarmed := g.alarmTasks(add)
	g.forecastTasks(add, alarmed)
	total := g.Time.Watched() + g.Time.Unwatched
	share := func(d time.Duration) float64 {
		if total == 0 {
			return 0
		}
		return float64(d) / float64(total)
	}
	if !alarmed["dry"] && !alarmed["burning"] && share(g.Time.Dry) > dryShare {
		add(rankBand, ThisWeek, "Look why it weeps too little", fmt.Sprintf("below %g drops/min for %s", g.LowDPM, hours(g.Time.Dry)), "dry")
	}
	if !alarmed["leaking"] && !alarmed["gushing"] && share(g.Time.Leaking) > shareOfWeek {
		add(rankBand+1, ThisWeek, "Plan an adjustment", fmt.Sprintf("over %g drops/min for %s", g.HighDPM, hours(g.Time.Leaking)), "leaking")
	}
	switch {
	case !g.Drip:
		add(rankBlind+1, PlanAhead, "Fit a drip sensor", "its weep is not watched at all", "")
	case share(g.Time.Unwatched) > unseenShare:
		add(rankBlind, ThisWeek, "Find out why it was not watched", fmt.Sprintf("nothing known for %s", hours(g.Time.Unwatched)), "drip-sensor")
	}
	if g.Drip && !g.Measured {
		add(rankSettings, PlanAhead, "Measure a drop", "drop_ml is not set: litres are known to a factor of seven only", "")
	}
	return out
}

// alarmTasks adds what the alarms ask for and says which conditions had one.
func (g Gland) alarmTasks(add func(rank int, when, what, why, condition string)) map[string]bool {
	alarmed := make(map[string]bool)
	for _, a := range g.Alarms {
		alarmed[a.Condition] = true
		why := fmt.Sprintf("%s, active for %s", times(a.Count), hours(a.Active))
		if a.Count == 0 {
			why = fmt.Sprintf("active since before the week, for %s of it", hours(a.Active))
		}
		what, urgent := toDo(a.Condition)
		switch {
		case a.AtEnd && urgent:
			add(rankActive+urgency(a.Condition), Now, what, why+"; active at the end", a.Condition)
		case a.AtEnd:
			add(rankActive+50+urgency(a.Condition), ThisWeek, what, why+"; active at the end", a.Condition)
		default:
			add(rankHappened+urgency(a.Condition), ThisWeek, "Look at it: "+lower(what), why+"; over now", a.Condition)
		}
	}
	return alarmed
}

// toDo says in a few words what a condition asks for; urgent is what is lost in
// minutes.
func toDo(condition string) (what string, urgent bool) {
	switch condition {
	case "burning":
		return "Running hot: have it stopped and let it cool", true
	case "dry":
		return "Too little weep: check flush and packing", true
	case "gushing":
		return "A stream: stop and isolate it", true
	case "leaking":
		return "Adjust, evenly and in small steps", false
	case "adjustment-ineffective":
		return "Do not tighten further; plan to repack", false
	case "repack-due":
		return "Plan to repack", false
	case "temp-sensor":
		return "Mend the temperature sensor", false
	case "drip-sensor":
		return "Mend the drip sensor", false
	}
	if c, known := rules.ParseCondition(condition); known && c.Priority() == rules.High {
		return strings.ToUpper(condition[:1]) + condition[1:], true
	}
	return strings.ToUpper(condition[:1]) + condition[1:], false
}

// forecastTasks adds what the upkeep's outlook asks for.
func (g Gland) forecastTasks(add func(rank int, when, what, why, condition string), alarmed map[string]bool) {
	if g.State == nil {
		return
	}
	soon := func(now bool) (int, string) {
		if now {
			return rankForecast, ThisWeek
		}
		return rankForecast + 2, PlanAhead
	}
	if f := g.State.Repack; f.Known && !alarmed["repack-due"] {
		rank, when := soon(f.Now)
		add(rank, when, "Repacking due "+f.Range, strings.Join(f.Words, "; "), "repack-due")
	}
	if f := g.State.NextAdjustment; f.Known && !alarmed["leaking"] {
		rank, when := soon(f.Now)
		add(rank+1, when, "Next adjustment due "+f.Range, strings.Join(f.Words, "; "), "leaking")
	}
	for _, o := range g.State.Offers {
		add(rankSettings+1, PlanAhead, "Say whether it was adjusted", o.Words, "")
	}
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// How is what to do about a condition, said once for all tasks that need it.
type How struct{ Condition, Text string }

func hows(tasks []Task, advice func(condition string) string) []How {
	var out []How
	for _, t := range tasks {
		known := slices.ContainsFunc(out, func(h How) bool { return h.Condition == t.Condition })
		if t.Condition == "" || known || advice == nil {
			continue
		}
		out = append(out, How{t.Condition, advice(t.Condition)})
	}
	return out
}
