package alarm

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"
)

// Key names an alarm: a condition of a gland, or of a shared cause that stands
// in the gland's place.
type Key struct {
	Gland     string `json:"gland"`
	Condition string `json:"condition"`
}

// String gives `<gland>/<condition>`, as in topics.
func (k Key) String() string { return k.Gland + "/" + k.Condition }

func compareKeys(a, b Key) int {
	return cmp.Or(cmp.Compare(a.Gland, b.Gland), cmp.Compare(a.Condition, b.Condition))
}

// Config is what a Book needs to know of a station.
type Config struct {
	Glands   []string
	Policies map[string]Policy // by condition; there are no other conditions
	Causes   []Cause           // most particular first: an earlier one claims first
	// Hold is how long a raise that may have a shared cause waits for
	// company. Conditions without a cause never wait.
	Hold time.Duration
}

// Raw is a process condition becoming true or false, as the rules say it.
type Raw struct {
	At     time.Duration
	Key    Key
	Active bool
	Note   string // what happened, in one sentence
}

// Step is one change of one alarm.
type Step struct {
	Key     Key
	Members []Key // a shared cause's: the conditions it stands for, after the step
	Change
}

// Book keeps a station's alarms. It is not safe for concurrent use.
type Book struct {
	cfg     Config
	glands  map[string]bool
	alarms  map[Key]*Alarm
	members map[Key][]Key // by a cause's key, sorted
	held    []Raw         // raises that wait for company, in order of arrival
	now     time.Duration
}

// NewBook makes a book with every alarm normal.
func NewBook(cfg Config) (*Book, error) {
	b := &Book{
		cfg:     cfg,
		glands:  make(map[string]bool, len(cfg.Glands)),
		alarms:  make(map[Key]*Alarm),
		members: make(map[Key][]Key),
	}
	for _, id := range cfg.Glands {
		b.glands[id] = true
	}
	if err := cfg.validate(b.glands); err != nil {
		return nil, err
	}
	return b, nil
}

func (c Config) validate(glands map[string]bool) error {
	var errs []error
	seen := make(map[string]bool, len(c.Causes))
	for _, cause := range c.Causes {
		errs = append(errs, cause.validate(c, glands)...)
		if seen[cause.ID] {
			errs = append(errs, fmt.Errorf("cause %s: id used twice", cause.ID))
		}
		seen[cause.ID] = true
	}
	if len(c.Causes) > 0 && c.Hold <= 0 {
		errs = append(errs, errors.New("shared causes need a hold above 0"))
	}
	return errors.Join(errs...)
}

// Feed takes what the rules say. Repeating what is known changes nothing, so
// a restart that finds a condition still true raises nothing anew.
func (b *Book) Feed(r Raw) ([]Step, error) {
	steps := b.Advance(r.At)
	if !b.glands[r.Key.Gland] || !b.knownCondition(r.Key.Condition) {
		return steps, &Refusal{Reason: UnknownAlarm, Input: rawKind(r.Active), Key: r.Key}
	}
	r.At = b.now
	if r.Active {
		return append(steps, b.raise(r)...), nil
	}
	return append(steps, b.clear(r)...), nil
}

// Command takes any other input for one alarm: a person's, or logic
// suppressing it. Raise and Clear belong to Feed and are refused.
func (b *Book) Command(k Key, in Input) ([]Step, error) {
	steps := b.Advance(in.At)
	in.At = b.now
	if !b.known(k) {
		return steps, &Refusal{Reason: UnknownAlarm, Input: in.Kind, Key: k}
	}
	if in.Kind == Raise || in.Kind == Clear {
		return steps, &Refusal{Reason: UnknownInput, Input: in.Kind, Key: k}
	}
	more, err := b.apply(k, in)
	var refusal *Refusal
	if errors.As(err, &refusal) {
		refusal.Key = k
	}
	return append(steps, more...), err
}

// Advance lets time pass to at: shelves end, held raises are decided, each at
// its own exact time and in order.
func (b *Book) Advance(at time.Duration) []Step {
	var steps []Step
	for {
		due, ok := b.Next()
		if !ok || due > at {
			break
		}
		b.now = max(b.now, due)
		for _, k := range b.sorted() {
			for _, c := range b.alarms[k].Advance(due) {
				steps = append(steps, b.step(k, c))
			}
		}
		steps = append(steps, b.settle(due)...)
	}
	b.now = max(b.now, at)
	return steps
}

// Next says when the book wants Advance at the latest.
func (b *Book) Next() (at time.Duration, ok bool) {
	for _, a := range b.alarms {
		if due, waits := a.Next(); waits && (!ok || due < at) {
			at, ok = due, true
		}
	}
	if len(b.held) > 0 {
		if due := b.held[0].At + b.cfg.Hold; !ok || due < at {
			at, ok = due, true
		}
	}
	return at, ok
}

// Alarm gives one alarm as it stands; false if there is no such alarm.
func (b *Book) Alarm(k Key) (Alarm, bool) {
	if a, found := b.alarms[k]; found {
		return *a, true
	}
	return Alarm{}, b.known(k)
}

func (b *Book) raise(r Raw) []Step {
	if b.memberOf(r.Key) >= 0 || b.isHeld(r.Key) {
		return nil
	}
	if a, found := b.alarms[r.Key]; !found || !a.Active && !a.State.SetAside() {
		for _, c := range b.cfg.Causes {
			if c.covers(r.Key) && len(b.members[c.key()]) > 0 {
				return b.join(c, r)
			}
		}
		if b.mayShare(r.Key) {
			b.held = append(b.held, r)
			return nil
		}
	}
	return b.own(r)
}

func (b *Book) clear(r Raw) []Step {
	if i := b.memberOf(r.Key); i >= 0 {
		return b.leave(b.cfg.Causes[i], r)
	}
	var steps []Step
	if i := slices.IndexFunc(b.held, func(h Raw) bool { return h.Key == r.Key }); i >= 0 {
		raised := b.held[i]
		raised.At = r.At
		b.held = slices.Delete(b.held, i, i+1)
		steps = b.own(raised)
	}
	return append(steps, b.own(r)...)
}

// own takes a raw input to the gland's own alarm.
func (b *Book) own(r Raw) []Step {
	steps, _ := b.apply(r.Key, Input{Kind: rawKind(r.Active), At: r.At, Note: r.Note}) // the process is never refused
	return steps
}

func (b *Book) apply(k Key, in Input) ([]Step, error) {
	a, found := b.alarms[k]
	if !found {
		a = &Alarm{}
	}
	changes, err := a.Apply(b.cfg.Policies[k.Condition], in)
	if len(changes) > 0 {
		b.alarms[k] = a
	}
	var steps []Step
	for _, c := range changes {
		steps = append(steps, b.step(k, c))
	}
	return steps, err
}

func (b *Book) step(k Key, c Change) Step {
	return Step{Key: k, Members: slices.Clone(b.members[k]), Change: c}
}

func (b *Book) knownCondition(c string) bool {
	_, found := b.cfg.Policies[c]
	return found
}

func (b *Book) known(k Key) bool {
	isCause := slices.ContainsFunc(b.cfg.Causes, func(c Cause) bool { return c.key() == k })
	return isCause || b.glands[k.Gland] && b.knownCondition(k.Condition)
}

func (b *Book) sorted() []Key {
	return slices.SortedFunc(maps.Keys(b.alarms), compareKeys)
}

func rawKind(active bool) Kind {
	if active {
		return Raise
	}
	return Clear
}
