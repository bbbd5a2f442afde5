package agent

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
)

// carryOut does one command. What comes of it is in the batch, together with
// the reply, so that a command that was done is never done again.
func (l *loop) carryOut(c Command, done Done, known bool, at time.Duration) Reply {
	sum := c.sum()
	if known {
		if done.Sum != sum {
			return Refuse(ReasonIDUsed, "id %s was used for another command; give each command an id of its own", c.ID)
		}
		return done.Reply
	}
	reply := l.act(c, at)
	l.batch.Done = append(l.batch.Done, Done{ID: c.ID, Sum: sum, Reply: reply})
	if reply.OK {
		l.agent.log.Info("command done", "action", c.Action, "gland", c.Gland, "condition", c.Condition, "by", c.By, "id", c.ID)
	} else {
		l.agent.log.Warn("command refused", "action", c.Action, "gland", c.Gland, "condition", c.Condition, "by", c.By, "id", c.ID, "reason", reply.Error)
	}
	return reply
}

func (l *loop) act(c Command, at time.Duration) Reply {
	if strings.TrimSpace(c.By) == "" {
		return Refuse(alarm.NoName.String(), "by is missing; say who does it")
	}
	if c.Action == ActionRecord {
		return l.recordEntry(c, at)
	}
	kind, ok := alarm.ParseKind(c.Action)
	if !ok || !kind.ByPerson() {
		return Refuse(ReasonMalformed, "no action %q; want %s", c.Action, actionWords())
	}
	if text := misplaced(c, kind); text != "" {
		return Refuse(ReasonMalformed, "%s", text)
	}
	key := alarm.Key{Gland: c.Gland, Condition: c.Condition}
	if reply := l.findAlarm(key); reply != nil {
		return *reply
	}
	in := alarm.Input{Kind: kind, At: at, By: c.By, Note: c.Note}
	if kind == alarm.Shelve && c.For != "" {
		span, err := time.ParseDuration(c.For)
		if err != nil {
			return Refuse(ReasonMalformed, "for is %q; want a duration such as 8h or 1h30m", c.For)
		}
		in.Until = at + min(l.agent.clock.steady(span), never-at)
	}
	steps, err := l.book.Command(key, in)
	l.take(steps, c)
	return l.replyTo(err)
}

func (l *loop) replyTo(err error) Reply {
	var r *alarm.Refusal
	switch {
	case err == nil:
		return Reply{OK: true}
	case errors.As(err, &r):
		told := *r
		told.Limit = l.agent.clock.real(told.Limit)
		return Refuse(r.Reason.String(), "%s", told.Error())
	default:
		return Refuse(ReasonMalformed, "%s", err)
	}
}

// misplaced says which field does not belong to the action.
func misplaced(c Command, kind alarm.Kind) string {
	switch {
	case c.For != "" && kind != alarm.Shelve:
		return fmt.Sprintf("for belongs to shelve, not to %s", c.Action)
	case c.Kind != "" || len(c.Value) > 0:
		return fmt.Sprintf("kind and value belong to record, not to %s", c.Action)
	}
	return ""
}

func actionWords() string {
	var list []string
	for k := range alarm.Kinds {
		if k.ByPerson() {
			list = append(list, k.String())
		}
	}
	return strings.Join(list, ", ") + " or " + ActionRecord
}

// findAlarm refuses what is not there and says what is.
func (l *loop) findAlarm(k alarm.Key) *Reply {
	if _, found := l.book.Alarm(k); found {
		return nil
	}
	if !l.hasGland(k.Gland) {
		return refused(alarm.UnknownAlarm.String(), "no gland %q; the glands are %s", k.Gland, l.glandWords())
	}
	var conditions []string
	for c := range rules.Conditions {
		conditions = append(conditions, c.String())
	}
	return refused(alarm.UnknownAlarm.String(), "no alarm %q of %s; the conditions are %s", k.Condition, k.Gland, strings.Join(conditions, ", "))
}

func (l *loop) hasGland(id string) bool {
	_, found := l.byID[id]
	return found || slices.ContainsFunc(l.alarms, func(a Alarm) bool { return a.Gland == id })
}

func (l *loop) glandWords() string {
	const most = 8
	var list []string
	for i, g := range l.glands {
		if i == most {
			return strings.Join(list, ", ") + fmt.Sprintf(" and %d more, see /api/v1/glands", len(l.glands)-most)
		}
		list = append(list, g.Rules.ID)
	}
	return strings.Join(list, ", ")
}
