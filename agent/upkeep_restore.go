package agent

import (
	"encoding/json"
	"fmt"
	"time"

	"weepd/rules/upkeep"
)

// KeptWeep is the weep of a stretch of time as the history kept it for the
// upkeep.
type KeptWeep struct {
	To      time.Time     // its end
	Span    time.Duration // how long it was
	Watched time.Duration // of it, with the shaft turning
	DPM     float64       // drops per minute of that
}

// KeptMinute is a minute of a gland as the history kept it; NaN is not known.
type KeptMinute struct {
	Time       time.Time
	DPM, RiseC float64
}

// bucket is a kept weep on the steady clock.
func (l *loop) bucket(k KeptWeep, now time.Duration) upkeep.Bucket {
	steady := l.agent.clock.steady
	b := upkeep.Bucket{To: l.steadyOf(k.To, now), Watched: steady(k.Watched)}
	b.From = b.To - steady(max(k.Span, k.Watched))
	b.Drops = uint32(k.DPM*b.Watched.Minutes() + 0.5)
	return b
}

// steadyOf gives the steady time of a wall time, as the clocks stand at now.
func (l *loop) steadyOf(wall time.Time, now time.Duration) time.Duration {
	return now - l.agent.clock.steady(l.agent.clock.Wall(now).Sub(wall))
}

// restoreUpkeep gives the core what was known of the upkeep before. Under a clock
// that is behind nothing can be put in its place: then it waits for the clock.
func (l *loop) restoreUpkeep(m Remembered, now time.Duration) {
	if m.Last == nil && len(m.Upkeep) == 0 {
		return
	}
	if m.Last != nil && l.agent.clock.Wall(now).Before(m.Last.Wall) {
		l.late = &m
		return
	}
	l.late = nil
	entries, runIns, strange := keptEntries(m.Upkeep, l.isGland, func(wall time.Time) time.Duration { return l.steadyOf(wall, now) })
	for _, u := range runIns {
		l.keepRunIn(u)
	}
	if strange > 0 {
		l.agent.log.Warn("upkeep entries of unknown kinds are left out of the outlook; the log keeps them", "entries", strange)
	}
	l.giveBack(entries, m.Weeps, now)
	l.goOnRunningIn(entries, m.Minutes, now)
}

// keptEntries sorts the rows of the log by gland, as the core knows them: oldest
// first. Rows of kinds that nobody knows any more are counted.
func keptEntries(log []Upkeep, isGland func(string) bool, steady func(time.Time) time.Duration) (entries map[string][]upkeep.Entry, runIns []Upkeep, strange int) {
	entries = make(map[string][]upkeep.Entry)
	kinds := make(map[uint64]upkeep.Kind)
	for _, u := range log {
		if !isGland(u.Gland) {
			continue
		}
		if u.Kind == entryRunIn {
			runIns = append(runIns, u)
			continue
		}
		e, err := entryOf(u, func(seq uint64) (upkeep.Kind, bool) { k, found := kinds[seq]; return k, found })
		if err != nil { // of a time before the kinds were fixed
			strange++
			continue
		}
		kinds[e.Seq] = e.Kind
		e.At = steady(workTime(u, e.Value))
		entries[u.Gland] = append(entries[u.Gland], e)
	}
	return entries, runIns, strange
}

func (l *loop) giveBack(entries map[string][]upkeep.Entry, weeps map[string][]KeptWeep, now time.Duration) {
	for _, g := range l.glands {
		id := g.Rules.ID
		var buckets []upkeep.Bucket
		for _, k := range weeps[id] {
			buckets = append(buckets, l.bucket(k, now))
		}
		if err := l.core.Restore(id, entries[id], buckets); err != nil {
			l.agent.log.Error("upkeep not taken up", "gland", id, "error", err)
		}
		l.stale[id] = true
	}
}

// workTime is when the work of a row was done.
func workTime(u Upkeep, v upkeep.Value) time.Time {
	if at := (given{v}).workAt(); at != nil {
		return *at
	}
	return u.Time
}

// entryOf gives a row of the log as the core knows it, but for its time. kindOf
// gives the kind of the entry that a correction names.
func entryOf(u Upkeep, kindOf func(uint64) (upkeep.Kind, bool)) (upkeep.Entry, error) {
	e := upkeep.Entry{Seq: u.Seq, At: u.At, Kind: upkeep.Kind(u.Kind), By: u.By, Note: u.Note}
	if _, err := upkeep.ParseKind(u.Kind); err != nil && e.Kind != upkeep.Noticed {
		return e, err
	}
	var err error
	if e.Value, err = upkeep.ParseValue(e.Kind, u.Value); err != nil || e.Kind != upkeep.Corrected || e.Value.Void {
		return e, err
	}
	of, found := kindOf(e.Of)
	if !found {
		return e, fmt.Errorf("it corrects entry %d, which is not known", e.Of)
	}
	e.Value, err = upkeep.ParseCorrection(of, u.Value)
	return e, err
}

// goOnRunningIn takes up the run-ins of the run before that were not over. Under a
// clock that is behind their age is not known: then the usual limits hold, which
// are stricter.
func (l *loop) goOnRunningIn(entries map[string][]upkeep.Entry, minutes map[string][]KeptMinute, now time.Duration) {
	for _, g := range l.glands {
		id := g.Rules.ID
		life := upkeep.NewLife(upkeep.Config{})
		for _, e := range entries[id] {
			life.Record(e)
		}
		at, known := life.Repacked()
		over, ended := l.runIns[id]
		if !known || ended && over.Ended.After(l.agent.clock.Wall(at)) || now-at >= g.Rules.Timing.RunIn {
			continue
		}
		present := l.present(now)
		if err := l.repacked(id, max(0, present-at).Round(time.Millisecond)); err != nil {
			l.agent.log.Error("run-in not taken up", "gland", id, "error", err)
			continue
		}
		var past []upkeep.RunInPoint
		for _, k := range minutes[id] {
			past = append(past, upkeep.RunInPoint{At: l.steadyOf(k.Time, now), DPM: k.DPM, RiseC: k.RiseC})
		}
		l.core.DrawRunIn(id, past)
	}
}

// keptRunIn is a run-in in the upkeep log.
type keptRunIn struct {
	From    time.Time    `json:"from"`
	Ended   time.Time    `json:"ended"`
	Outcome string       `json:"outcome"`
	Stage   int          `json:"stage"` // reached, from 1
	Stages  int          `json:"stages"`
	Target  float64      `json:"target_dpm"`
	Least   float64      `json:"least_dpm"`
	Most    float64      `json:"most_dpm"`
	Next    string       `json:"next"`
	Curve   [][]*float64 `json:"curve"` // minutes since from, dpm, rise_c, target_dpm; null: not known
}

const keptCurve = 80 // points

// runInOver keeps a run-in with its curve in the upkeep log.
func (l *loop) runInOver(gland string, r upkeep.RunIn, now time.Duration) {
	view := l.runInView(r)
	k := keptRunIn{
		From: view.From, Ended: *view.Ended, Outcome: r.Outcome, Stage: view.Stage, Stages: view.Stages,
		Target: view.TargetDPM, Least: view.LeastDPM, Most: view.MostDPM, Next: view.Next, Curve: [][]*float64{},
	}
	each := (len(view.Curve) + keptCurve - 1) / keptCurve
	for i := 0; i < len(view.Curve); i += max(each, 1) {
		p := view.Curve[i]
		k.Curve = append(k.Curve, []*float64{number(p.Time.Sub(view.From).Minutes(), true), p.DPM, p.RiseC, &p.TargetDPM})
	}
	value, err := json.Marshal(k)
	if err != nil {
		l.agent.log.Error("run-in not kept", "gland", gland, "error", err)
		return
	}
	l.addUpkeep(Upkeep{Time: stamp(l.agent.clock.Wall(now)), Gland: gland, Entry: Entry{entryRunIn, value}, At: r.Ended},
		EventUpkeep, now, "Run-in over: "+view.Outcome+".")
}

// keepRunIn shows a run-in that is over.
func (l *loop) keepRunIn(u Upkeep) {
	var k keptRunIn
	if err := json.Unmarshal(u.Value, &k); err != nil {
		l.agent.log.Error("a run-in of the upkeep log is not understood and left out", "gland", u.Gland, "seq", u.Seq, "error", err)
		return
	}
	r := UpkeepRunIn{
		From: k.From, Ended: &k.Ended, Outcome: outcomeWords(k.Outcome), Stage: k.Stage, Stages: k.Stages,
		TargetDPM: k.Target, LeastDPM: k.Least, MostDPM: k.Most, Next: k.Next, Curve: []UpkeepRunInPoint{},
	}
	for _, p := range k.Curve {
		if len(p) != 4 || p[0] == nil || p[3] == nil {
			continue
		}
		at := k.From.Add(time.Duration(*p[0] * float64(time.Minute)))
		r.Curve = append(r.Curve, UpkeepRunInPoint{Time: stamp(at), DPM: p[1], RiseC: p[2], TargetDPM: *p[3]})
	}
	l.runIns[u.Gland] = r
}
