package agent

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"weepd/rules/alarm"
	"weepd/rules/upkeep"
)

// EntryRepacked is the kind of an upkeep entry that begins a run-in.
const EntryRepacked = string(upkeep.Repacked)

// Kinds that the agent itself writes into the upkeep log; nobody can record them.
const (
	entryNoticed = string(upkeep.Noticed)
	entryRunIn   = "run-in" // a run-in is over, with its curve
)

const (
	// oldestWork is how long ago work may have been done that is recorded now.
	oldestWork = 366 * 24 * time.Hour
	// aheadMost is how far another clock may be ahead of ours.
	aheadMost = time.Minute
)

// recordEntry takes an upkeep entry of a person.
func (l *loop) recordEntry(c Command, at time.Duration) Reply {
	_, found := l.byID[c.Gland]
	switch {
	case !found:
		return Refuse(alarm.UnknownAlarm.String(), "no gland %q; the glands are %s", c.Gland, l.glandWords())
	case c.Kind == "":
		return Refuse(ReasonMalformed, "kind is missing; say what the entry is about: %s", kindWords())
	case c.Condition != "" || c.For != "":
		return Refuse(ReasonMalformed, "condition and for do not belong to record")
	}
	kind, err := upkeep.ParseKind(c.Kind)
	if err != nil {
		return Refuse(ReasonMalformed, "%s", err)
	}
	value, reply := l.entryValue(c, kind, at)
	if reply != nil {
		return *reply
	}
	u := Upkeep{
		Time: stamp(l.agent.clock.Wall(at)), Gland: c.Gland, By: c.By, Note: c.Note, Command: c.ID,
		Entry: Entry{c.Kind, compact(c.Value)},
	}
	now := l.present(at)
	u.At = now
	if work := value.workAt(); work != nil {
		u.At = min(now, l.steadyOf(*work, at))
	}
	if err := l.markEntry(u, value, now); err != nil {
		return Refuse(ReasonMalformed, "%s", err)
	}
	l.addUpkeep(u, EventUpkeep, at, fmt.Sprintf("%s recorded: %s.", c.By, entryWords(kind, value.Value)))
	return Reply{OK: true}
}

// given is a value with the time of the work, its own or its correction's.
type given struct{ upkeep.Value }

func (v given) workAt() *time.Time {
	if v.New != nil {
		return v.New.WorkAt
	}
	return v.WorkAt
}

// entryValue reads an entry's value and holds it against what is known.
func (l *loop) entryValue(c Command, kind upkeep.Kind, at time.Duration) (given, *Reply) {
	v, err := upkeep.ParseValue(kind, c.Value)
	if err != nil {
		return given{}, refused(ReasonMalformed, "%s", err)
	}
	if kind == upkeep.Corrected {
		if v, err = l.correction(c, v.Of); err != nil {
			return given{}, refused(ReasonMalformed, "%s", err)
		}
	}
	if v.Step != 0 {
		if e, found := l.core.Entry(c.Gland, v.Step); !found || e.Kind != upkeep.Noticed || e.Void {
			return given{}, refused(ReasonMalformed, "no offer %d at %s waits to be confirmed; see /api/v1/upkeep for those that do", v.Step, c.Gland)
		}
	}
	if work := (given{v}).workAt(); work != nil {
		now := l.agent.clock.Wall(at)
		switch {
		case work.After(now.Add(aheadMost)):
			return given{}, refused(ReasonMalformed, "at is %s, after now (%s); record work once it is done", utc(*work), utc(now))
		case work.Before(now.Add(-oldestWork)):
			return given{}, refused(ReasonMalformed, "at is %s, more than a year ago", utc(*work))
		}
	}
	return given{v}, nil
}

// correction reads the value of a correction: its new value is of the kind of
// the entry that it corrects.
func (l *loop) correction(c Command, seq uint64) (upkeep.Value, error) {
	e, found := l.core.Entry(c.Gland, seq)
	if !found {
		return upkeep.Value{}, fmt.Errorf("no entry %d of %s; its entries are at /api/v1/upkeep?gland=%s", seq, c.Gland, c.Gland)
	}
	v, err := upkeep.ParseValue(upkeep.Corrected, c.Value)
	switch {
	case err != nil || v.Void:
		return v, err
	case e.Kind != upkeep.Noticed:
		return upkeep.ParseCorrection(e.Kind, c.Value)
	}
	return v, fmt.Errorf(
		"entry %d is a step that weepd noticed: confirm it by recording adjusted with value {\"flats\":N,\"step\":%d}, or dismiss it with {\"seq\":%d,\"void\":true}", seq, seq, seq)
}

// markEntry tells the history what a replay must know; a repacking begins its
// run-in.
func (l *loop) markEntry(u Upkeep, v given, now time.Duration) error {
	switch upkeep.Kind(u.Kind) {
	case upkeep.Repacked:
		return l.repacked(u.Gland, (now - u.At).Round(time.Millisecond))
	case upkeep.Adjusted:
		if now-u.At < time.Second && v.Step == 0 {
			l.adjusted(u.Gland, v.Flats)
		}
	default:
	}
	return nil
}

// addUpkeep puts an entry with its event into the batch. The core is told once it
// has its seq: see tellCore.
func (l *loop) addUpkeep(u Upkeep, kind string, at time.Duration, message string) {
	e := Event{
		Time: u.Time, At: at, Kind: kind, Gland: u.Gland, By: u.By, Note: u.Note, Entry: &u.Entry, Command: u.Command, Message: message,
	}
	u.Event = len(l.batch.Events)
	l.batch.Upkeep = append(l.batch.Upkeep, u)
	l.record(e)
}

// tellCore gives the core the entries that have their seq now.
func (l *loop) tellCore(entries []Upkeep) {
	for _, u := range entries {
		l.stale[u.Gland] = true
		switch u.Kind {
		case entryRunIn:
			l.keepRunIn(u)
			continue
		case entryNoticed:
			l.core.NumberStep(u.Gland, u.At, u.Seq)
			continue
		}
		e, err := entryOf(u, func(seq uint64) (upkeep.Kind, bool) {
			of, found := l.core.Entry(u.Gland, seq)
			return of.Kind, found
		})
		if err == nil {
			out, refused := l.core.Record(u.Gland, e)
			for _, t := range out {
				l.judge(t)
			}
			err = refused
		}
		if err != nil { // it was checked before
			l.agent.log.Error("upkeep entry not taken", "gland", u.Gland, "seq", u.Seq, "error", err)
		}
		l.dirty = true
	}
}

// takeFresh keeps what the core's upkeep has brought.
func (l *loop) takeFresh(now time.Duration) {
	for _, f := range l.core.TakeFresh() {
		l.stale[f.Gland] = true
		switch {
		case f.Bucket != nil && l.history != nil:
			l.history.Weep(f.Gland, l.agent.clock.Wall(f.Bucket.To), *f.Bucket)
		case f.Step != nil:
			l.offer(f.Gland, *f.Step, now)
		case f.RunIn != nil:
			l.runInOver(f.Gland, *f.RunIn, now)
		}
	}
}

// offer tells of a step in the weep that nobody recorded.
func (l *loop) offer(gland string, s upkeep.Step, now time.Duration) {
	when := stamp(l.agent.clock.Wall(s.At))
	value, _ := json.Marshal(map[string]any{ // numbers and a time: it cannot fail
		"before_dpm": number(s.BeforeDPM, true), "after_dpm": number(s.AfterDPM, true), "at": when,
	})
	l.addUpkeep(Upkeep{
		Time: stamp(l.agent.clock.Wall(now)), Gland: gland, Entry: Entry{entryNoticed, value}, At: s.At,
	}, EventStep, now, sentence(stepWords(s.BeforeDPM, s.AfterDPM, utc(when))))
}

func kindWords() string {
	var words []string
	for _, k := range upkeep.Kinds() {
		words = append(words, string(k))
	}
	return strings.Join(words, ", ")
}

// compact leaves values as they are but for white space, so that an event is
// one line.
func compact(value json.RawMessage) json.RawMessage {
	if len(value) == 0 {
		return nil
	}
	text, err := json.Marshal(value)
	if err != nil { // it was parsed before
		return nil
	}
	return text
}
