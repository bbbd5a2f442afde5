package agent

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"weepd/rules/upkeep"
	"weepd/rules/weep"
)

// showUpkeep brings the glands' upkeep up to date where something has changed:
// an hour is over, somebody recorded something, or a minute of a run-in.
func (l *loop) showUpkeep(now time.Duration) {
	wall := l.agent.clock.Wall(now)
	shown := 0
	for i := range l.glands {
		g := &l.glands[i]
		id := g.Rules.ID
		last := g.Upkeep
		minute := last != nil && last.RunIn != nil && last.RunIn.Active && wall.Sub(last.Time) >= time.Minute
		if !l.stale[id] && !minute {
			continue
		}
		if shown++; shown > showMost {
			return // the rest with the next snapshot
		}
		state, found := l.core.Upkeep(id)
		if !found || state == nil {
			continue
		}
		if l.fed > 0 { // before, the core does not know the time
			delete(l.stale, id)
		}
		view := NewUpkeepState(id, state, l.agent.clock.Wall)
		view.Time = stamp(wall)
		if state.RunIn.Known {
			r := l.runInView(state.RunIn)
			if view.RunIn = &r; r.Active {
				view.Words = fmt.Sprintf("Running in, stage %d of %d. %s", r.Stage, r.Stages, r.Next)
			}
		} else if over, known := l.runIns[id]; known {
			view.RunIn = &over
		}
		g.Upkeep = view
	}
}

// showMost glands are looked at for one snapshot: a look takes milliseconds, and
// alarms do not wait for those of a large station.
const showMost = 16

// NewUpkeepState gives what is known of a gland's upkeep in the form that leaves
// the agent, but for its run-in. wall gives the wall time of a steady one.
func NewUpkeepState(gland string, s *upkeep.State, wall func(time.Duration) time.Time) *UpkeepState {
	at := func(t time.Duration) time.Time { return stamp(wall(t)) }
	out := &UpkeepState{
		Gland: gland, Time: at(s.At), Entries: []UpkeepEntry{}, Offers: []UpkeepOffer{}, Adjustments: []UpkeepAdjustment{},
		NextAdjustment: forecastView(s.Outlook.Adjust, at), Repack: forecastView(s.Outlook.Repack, at),
		Trend: UpkeepTrend{slopeView(s.Trend.Growth), slopeView(s.Trend.Interval), slopeView(s.Trend.Effect), s.Trend.Words},
	}
	for _, e := range s.Entries {
		if e.Kind != upkeep.Noticed {
			out.Entries = append(out.Entries, entryView(e, at))
		}
	}
	for _, o := range s.Offers {
		out.Offers = append(out.Offers, UpkeepOffer{o.Seq, at(o.At), round(o.BeforeDPM), round(o.AfterDPM),
			sentence(stepWords(o.BeforeDPM, o.AfterDPM, utc(at(o.At))))})
	}
	for _, a := range s.Adjustments {
		out.Adjustments = append(out.Adjustments, adjustmentView(a, at))
	}
	if p := s.Packing; p.Known {
		out.Packing = &UpkeepPacking{Since: at(p.Since), Packing: p.Name, Rings: p.Rings, Flats: p.Flats,
			TravelUsedMM: number(p.Travel.UsedMM, p.Travel.Known), TravelMM: number(p.Travel.OfMM, p.Travel.Known)}
	}
	if c := s.Count; c.Known {
		out.HandCount = &UpkeepCount{Time: at(c.At), Hand: *rateView(c.Hand)}
		if c.Sensor.Known {
			out.HandCount.Sensor, out.HandCount.Agree = rateView(c.Sensor.Rate), &c.Agree
		}
	}
	out.Words = mainWords(out, s)
	return out
}

func entryView(e upkeep.Entry, at func(time.Duration) time.Time) UpkeepEntry {
	return UpkeepEntry{
		Seq: e.Seq, Time: at(e.At), Kind: string(e.Kind), Value: valueJSON(e.Kind, e.Value), By: e.By, Note: e.Note,
		Void: e.Void, Corrected: e.Corrected, Words: entryWords(e.Kind, e.Value),
	}
}

func adjustmentView(a upkeep.Adjustment, at func(time.Duration) time.Time) UpkeepAdjustment {
	known := a.Before.Known && a.After.Known
	v := UpkeepAdjustment{
		Seq: a.Seq, Time: at(a.At), Recorded: a.Recorded, Flats: number(a.Flats, a.Flats != 0),
		CutDPM: number(a.CutDPM, known), CutLowDPM: number(a.CutLowDPM, known), CutHighDPM: number(a.CutHighDPM, known),
		PerFlatDPM: number(a.PerFlatDPM, known && a.Flats != 0),
		HeldDays:   round(a.Held.Hours() / 24), Holding: a.Holding, Verdict: a.Verdict.String(),
	}
	if a.Before.Known {
		v.Before = rateView(a.Before.Rate)
	}
	if a.After.Known {
		v.After = rateView(a.After.Rate)
	}
	v.Words = adjustmentWords(a)
	return v
}

func rateView(r weep.Rate) *UpkeepLevel {
	return &UpkeepLevel{round(r.DPM), round(r.LowDPM), round(r.HighDPM)}
}

func slopeView(s upkeep.Slope) UpkeepSlope {
	known := s.Surety != upkeep.TooEarly
	fine := func(v float64) *float64 {
		if !known || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		v = math.Round(v*1e4) / 1e4
		return &v
	}
	return UpkeepSlope{s.N, fine(s.Per), fine(s.LowPer), fine(s.HighPer), fine(s.P), s.Surety.String()}
}

func forecastView(f upkeep.Forecast, at func(time.Duration) time.Time) UpkeepForecast {
	v := UpkeepForecast{Known: f.Known, Now: f.Now, Words: f.Words}
	if v.Words == nil {
		v.Words = []string{}
	}
	if !f.Known {
		v.Range = upkeep.TooEarly.String()
		return v
	}
	early, mid, late := at(f.Early), at(f.Mid), at(f.Late)
	v.Early, v.Mid, v.Late = &early, &mid, &late
	v.Range = rangeWords(early, late)
	if f.Now {
		v.Range = "now"
	}
	return v
}

func rangeWords(early, late time.Time) string {
	const day = "2 January 2006"
	if early.Format(day) == late.Format(day) {
		return early.Format(day)
	}
	if early.Year() == late.Year() {
		return early.Format("2 January") + " to " + late.Format(day)
	}
	return early.Format(day) + " to " + late.Format(day)
}

func (l *loop) runInView(r upkeep.RunIn) UpkeepRunIn {
	at := func(t time.Duration) time.Time { return stamp(l.agent.clock.Wall(t)) }
	v := UpkeepRunIn{
		Active: r.Active, From: at(r.From), Stage: r.Stage + 1, Stages: r.Stages, TargetDPM: round(r.TargetDPM),
		LeastDPM: round(r.LeastDPM), MostDPM: round(r.MostDPM), Steady: r.Steady, Next: r.Next, Curve: []UpkeepRunInPoint{},
	}
	if !r.Active {
		ended := at(r.Ended)
		v.Ended, v.Outcome = &ended, outcomeWords(r.Outcome)
	}
	for _, p := range r.Curve {
		v.Curve = append(v.Curve, UpkeepRunInPoint{at(p.At), number(p.DPM, true), number(p.RiseC, true), round(p.TargetDPM)})
	}
	return v
}

func round(v float64) float64 { return math.Round(v*100) / 100 }

// valueJSON writes a value as it would be recorded.
func valueJSON(k upkeep.Kind, v upkeep.Value) json.RawMessage {
	m := make(map[string]any)
	switch k {
	case upkeep.Adjusted:
		m["flats"] = v.Flats
		if v.Step != 0 {
			m["step"] = v.Step
		}
	case upkeep.Repacked:
		if v.Packing != "" {
			m["packing"] = v.Packing
		}
		if v.Rings > 0 {
			m["rings"] = v.Rings
		}
	case upkeep.Counted:
		m["drops"], m["minutes"] = v.Drops, v.Minutes
	case upkeep.FlushChanged:
		if v.FlushBar != nil {
			m["bar"] = *v.FlushBar
		}
	case upkeep.SleeveChanged, upkeep.ShaftChanged, upkeep.SensorCleaned, upkeep.Corrected, upkeep.Noticed:
	}
	if len(m) == 0 {
		return nil
	}
	text, err := json.Marshal(m)
	if err != nil { // plain numbers and texts
		return nil
	}
	return text
}

// mainWords says the main thing in one line.
func mainWords(u *UpkeepState, s *upkeep.State) string {
	switch {
	case s.Ineffective:
		return sentence(s.IneffectiveWhy)
	case u.Repack.Now:
		return sentence("repack: " + u.Repack.Words[0])
	case len(u.Offers) > 0:
		return u.Offers[len(u.Offers)-1].Words
	}
	return fmt.Sprintf("Next adjustment: %s. Repacking: %s.", u.NextAdjustment.Range, u.Repack.Range)
}
