package alarm

import (
	"fmt"
	"slices"
	"time"
)

// Cause is something that glands share, such as a reference sensor or the
// power of the sensors, so that its loss shows on all of them at once. It
// gives one alarm that names them all: the guard against an alarm flood
// (OPC 10000-9 3.1: more alarms than an operator can respond to).
//
// The alarm has the cause's id in the gland's place. It comes when Least of
// the glands show one of the conditions within the book's Hold; others join
// it without annunciating again; it returns when the last member has cleared.
// Members' own alarms stay out of it, but one that is set aside stays so.
type Cause struct {
	ID         string   // unlike any gland's
	As         string   // the condition that the alarm is reported as
	Conditions []string // the conditions that the cause can bring about
	Glands     []string // the glands that share it
	Least      int      // so many glands at once are the cause; at least 2
}

func (c Cause) key() Key { return Key{Gland: c.ID, Condition: c.As} }

func (c Cause) covers(k Key) bool {
	return slices.Contains(c.Glands, k.Gland) && slices.Contains(c.Conditions, k.Condition)
}

func (c Cause) validate(cfg Config, glands map[string]bool) (errs []error) {
	fault := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("cause "+c.ID+": "+format, args...))
	}
	if c.ID == "" || glands[c.ID] {
		fault("its id must not be empty or a gland's")
	}
	for _, condition := range append([]string{c.As}, c.Conditions...) {
		if _, found := cfg.Policies[condition]; !found {
			fault("unknown condition %q", condition)
		}
	}
	for _, g := range c.Glands {
		if !glands[g] {
			fault("unknown gland %q", g)
		}
	}
	if c.Least < 2 || c.Least > len(c.Glands) {
		fault("least is %d: want 2 to %d, its number of glands", c.Least, len(c.Glands))
	}
	return errs
}

// settle decides on the held raises at due, the end of the longest wait: a
// cause claims its glands if there are enough, else those waited long enough
// are alarms of their own.
func (b *Book) settle(due time.Duration) []Step {
	if len(b.held) == 0 || due < b.held[0].At+b.cfg.Hold {
		return nil
	}
	var steps []Step
	for _, c := range b.cfg.Causes {
		steps = append(steps, b.claim(c, due)...)
	}
	for len(b.held) > 0 && b.held[0].At+b.cfg.Hold <= due {
		alone := b.held[0]
		b.held = b.held[1:]
		alone.At = due
		steps = append(steps, b.own(alone)...)
	}
	return steps
}

func (b *Book) claim(c Cause, at time.Duration) []Step {
	glands := make(map[string]bool)
	var claimed []Key
	for _, h := range b.held {
		if c.covers(h.Key) {
			glands[h.Key.Gland] = true
			claimed = append(claimed, h.Key)
		}
	}
	if len(glands) < c.Least {
		return nil
	}
	b.held = slices.DeleteFunc(b.held, func(h Raw) bool { return c.covers(h.Key) })
	slices.SortFunc(claimed, compareKeys)
	b.members[c.key()] = claimed
	note := fmt.Sprintf("%d of %d glands that share %s show it at once", len(glands), len(c.Glands), c.ID)
	steps, _ := b.apply(c.key(), Input{Kind: Raise, At: at, Note: note}) // never refused
	return steps
}

func (b *Book) join(c Cause, r Raw) []Step {
	k := c.key()
	b.members[k] = append(b.members[k], r.Key)
	slices.SortFunc(b.members[k], compareKeys)
	return []Step{b.remark(k, r.At, r.Key.String()+" joined")}
}

func (b *Book) leave(c Cause, r Raw) []Step {
	k := c.key()
	b.members[k] = slices.DeleteFunc(b.members[k], func(m Key) bool { return m == r.Key })
	if len(b.members[k]) > 0 {
		return []Step{b.remark(k, r.At, r.Key.String()+" cleared")}
	}
	delete(b.members, k)
	steps, _ := b.apply(k, Input{Kind: Clear, At: r.At, Note: r.Note}) // never refused
	return steps
}

// remark is a step in which only the members changed.
func (b *Book) remark(k Key, at time.Duration, note string) Step {
	a := b.alarms[k]
	return b.step(k, Change{At: at, Old: a.State, New: a.State, Active: a.Active, Until: a.Until, Note: note})
}

// memberOf gives the index of the cause that k is a member of, or -1.
func (b *Book) memberOf(k Key) int {
	return slices.IndexFunc(b.cfg.Causes, func(c Cause) bool {
		return slices.Contains(b.members[c.key()], k)
	})
}

func (b *Book) isHeld(k Key) bool {
	return slices.ContainsFunc(b.held, func(h Raw) bool { return h.Key == k })
}

func (b *Book) mayShare(k Key) bool {
	return slices.ContainsFunc(b.cfg.Causes, func(c Cause) bool { return c.covers(k) })
}
