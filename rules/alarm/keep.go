package alarm

import (
	"slices"
	"time"
)

// Entry is one alarm as it is stored.
type Entry struct {
	Key
	Alarm   Alarm `json:"alarm"`
	Members []Key `json:"members,omitempty"`
}

// Entry gives one alarm for storing; false if there is no such alarm.
func (b *Book) Entry(k Key) (Entry, bool) {
	a, found := b.Alarm(k)
	return Entry{Key: k, Alarm: a, Members: slices.Clone(b.members[k])}, found
}

// Entries gives every alarm that ever moved, in order of gland and condition.
// Raises that wait for company are not among them: after a restart the rules
// raise them again.
func (b *Book) Entries() []Entry {
	var entries []Entry
	for _, k := range b.sorted() {
		e, _ := b.Entry(k)
		entries = append(entries, e)
	}
	return entries
}

// Active gives every condition that the book holds for true, a cause's
// members among them, in order. After a restart the caller clears those that
// the rules, once they know, do not find true.
func (b *Book) Active() []Key {
	var keys []Key
	for _, k := range b.sorted() {
		if m := b.members[k]; len(m) > 0 {
			keys = append(keys, m...)
		} else if b.alarms[k].Active {
			keys = append(keys, k)
		}
	}
	for _, h := range b.held {
		keys = append(keys, h.Key)
	}
	slices.SortFunc(keys, compareKeys)
	return slices.Compact(keys)
}

// Restore sets a new book to stored entries. What is no longer configured
// comes back as unknown; a cause that lost its last member by that clears at
// the time of the book. Shelves that ended meanwhile end with the next
// Advance.
func (b *Book) Restore(entries []Entry) (steps []Step, unknown []Entry) {
	for _, e := range entries {
		if !b.known(e.Key) {
			unknown = append(unknown, e)
			continue
		}
		a := e.Alarm
		b.alarms[e.Key] = &a
		b.now = max(b.now, a.Since)
		if i := slices.IndexFunc(b.cfg.Causes, func(c Cause) bool { return c.key() == e.Key }); i >= 0 {
			steps = append(steps, b.restoreMembers(b.cfg.Causes[i], e)...)
		}
	}
	return steps, unknown
}

func (b *Book) restoreMembers(c Cause, e Entry) []Step {
	var members []Key
	for _, m := range e.Members {
		if c.covers(m) {
			members = append(members, m)
		}
	}
	if len(members) > 0 {
		slices.SortFunc(members, compareKeys)
		b.members[e.Key] = members
		return nil
	}
	steps, _ := b.apply(e.Key, Input{Kind: Clear, At: b.now, Note: "no gland is left that shares it"}) // never refused
	return steps
}

// Reconfigure gives the book other glands, causes or policies. Alarms, shelves and
// raises that wait stay as they are. What is no longer configured comes back as
// unknown; a cause that lost its last member by that clears.
func (b *Book) Reconfigure(cfg Config) (steps []Step, unknown []Entry, err error) {
	fresh, err := NewBook(cfg)
	if err != nil {
		return nil, nil, err
	}
	fresh.now = b.now
	steps, unknown = fresh.Restore(b.Entries())
	held := b.held
	*b = *fresh
	for _, h := range held {
		switch {
		case !b.known(h.Key):
		case b.mayShare(h.Key):
			b.held = append(b.held, h)
		default:
			h.At = b.now
			steps = append(steps, b.own(h)...)
		}
	}
	return steps, unknown, nil
}

// Shift moves the whole book on the steady clock, for a restart whose steady
// clock does not go on from the stored one: e.g. the gateway woke up in 1970.
func (b *Book) Shift(by time.Duration) {
	b.now += by
	for _, a := range b.alarms {
		a.Since += by
		if a.State == Shelved {
			a.Until += by
		}
	}
	for i := range b.held {
		b.held[i].At += by
	}
}

// Missed lets time pass that was not counted, for alarms whose state began
// up to the given steady time: a restart under a clock that was behind, once
// the clock has been set and the time off is known. Shelves that ended by that
// end with the next Advance.
func (b *Book) Missed(by, upTo time.Duration) {
	for _, a := range b.alarms {
		if a.Since > upTo {
			continue
		}
		a.Since -= by
		if a.State == Shelved {
			a.Until -= by
		}
	}
}
