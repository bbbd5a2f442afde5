package page

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/alarm"
)

// card is an alarm on the list.
type card struct {
	agent.Alarm
	ID       string // of its element
	Name     string // of the gland or shared cause
	IsGland  bool
	Word     string // the condition
	Level    string // its priority, or aside
	Waiting  bool
	State    string // where it stands in its life, and by whom
	Start    string
	Steps    []string
	Cautions []string
	Actions  []action
	Can      bool // commands are taken at all

	Now string // the evidence at present; live
}

// action is something that a person can do about an alarm.
type action struct {
	Word string // of the command
	Form string // plain: a button; note: with a note; shelve: with a time as well
}

func elementOf(a agent.Alarm) string { return "a-" + a.Gland + "-" + a.Condition }

func (s *Server) newCard(now time.Time, a agent.Alarm, glands map[string]row) card {
	g, isGland := glands[a.Gland]
	steps, cautions := s.advise(a.Condition)
	c := card{
		Alarm: a, ID: elementOf(a), Name: g.Name, IsGland: isGland, Word: s.texts.orElse("condition.", a.Condition),
		Level: a.Priority, Waiting: waits(a.Life()), State: s.lifeWords(a, now), Steps: steps, Cautions: cautions,
		Actions: actionsFor(a.Life(), s.parts.LongestShelf > 0), Can: s.parts.Do != nil && s.parts.CanLogIn,
	}
	if !isGland {
		c.Name = s.causeName(a.Gland)
	}
	if a.Life().SetAside() {
		c.Level = aside
	}
	if a.Since != nil {
		c.Start = when(*a.Since, now)
	}
	if isGland && a.Active() {
		c.Now = s.evidence(g)
	}
	return c
}

// causeName names what several glands share.
func (s *Server) causeName(id string) string {
	kind, number, _ := strings.Cut(strings.TrimPrefix(id, "shared."), "-")
	return strings.TrimSpace(s.texts.orElse("cause.", kind) + " " + number)
}

// evidence is what is known of a gland now.
func (s *Server) evidence(r row) string {
	var parts []string
	if r.Weep.Known {
		parts = append(parts, s.texts.say("card.weep", r.Weep.Text, r.Between, r.Allowed))
	} else {
		parts = append(parts, s.texts.say("card.noweep", r.Weep.Text))
	}
	if r.Rise.Known {
		parts = append(parts, s.texts.say("card.rise", r.Rise.Text, r.RiseMost))
	}
	left := r.gland.State.ToLimitMin
	switch {
	case !r.Rise.Known:
	case r.gland.State.RiseC.Value >= bandOf(*r.gland).rise:
		parts = append(parts, s.texts.say("card.over"))
	case left.Known && left.Value < mostToLimit:
		parts = append(parts, s.texts.say("card.left", rate(left.Value)))
	}
	return strings.Join(append(parts, r.Shaft.Text), " · ")
}

// mostToLimit is the longest time to a limit, in minutes, that is worth saying:
// beyond it the growth is noise.
const mostToLimit = 180

// lifeWords say where an alarm stands in its life, and by whom.
func (s *Server) lifeWords(a agent.Alarm, now time.Time) string {
	life := a.Life()
	if life == alarm.Normal {
		return ""
	}
	key := life.String()
	switch {
	case life == alarm.LatchedAcknowledged:
		key = "latched-acknowledged"
	case life == alarm.Acknowledged && a.By != "":
		key = "inhand"
	}
	text := s.texts.say("life." + key)
	if key == "inhand" {
		text = s.texts.say("life.inhand", a.By)
	}
	if a.Until != nil {
		text += " " + s.texts.say("life.until", when(*a.Until, now))
	}
	if a.By == "" {
		return text
	}
	if key != "inhand" {
		text += " " + s.texts.say("life.by", a.By)
	}
	if a.Changed != nil {
		text += " " + s.texts.say("life.at", when(*a.Changed, now))
	}
	return text
}

// cardAction is a form of a card.
type cardAction struct {
	Card card
	Word string
}

func actionsFor(life alarm.State, shelves bool) []action {
	var list []action
	add := func(k alarm.Kind, form string) { list = append(list, action{k.String(), form}) }
	switch {
	case waits(life):
		add(alarm.Acknowledge, "plain")
	case life == alarm.LatchedAcknowledged:
		add(alarm.Reset, "plain")
	case life == alarm.Shelved:
		add(alarm.Unshelve, "plain")
	case life == alarm.OutOfService:
		add(alarm.Restore, "plain")
	}
	if shelves && life.Annunciated() {
		add(alarm.Shelve, "shelve")
	}
	if life != alarm.OutOfService && life != alarm.Normal {
		add(alarm.Remove, "note")
	}
	return list
}

// shown reports whether an alarm is a card: one that a shared cause stands for
// is shown there.
func shown(a agent.Alarm) bool {
	life := a.Life()
	return life != alarm.Normal || a.Active() && a.Cause == ""
}

// body is all of a card but its forms and what is live, for comparing.
func (c card) body() card {
	c.Now, c.Actions = "", nil
	return c
}

func sortCards(list []card) {
	slices.SortStableFunc(list, func(a, b card) int {
		return cmp.Or(cmp.Compare(urgency(a.Level), urgency(b.Level)), -compareBool(a.Waiting, b.Waiting), -compareTime(a.Since, b.Since))
	})
}

func compareTime(a, b *time.Time) int {
	switch {
	case a == nil || b == nil:
		return 0
	default:
		return a.Compare(*b)
	}
}

// loud reports whether an alarm must not be missed.
func loud(c card) bool { return c.Waiting && c.Priority == rules.High.String() && !c.Life().SetAside() }
