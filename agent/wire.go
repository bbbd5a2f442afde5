package agent

import (
	"math"
	"time"

	"weepd/rules"
)

// The JSON that leaves the agent, the same on MQTT and HTTP. Times are RFC 3339
// in UTC; what is unknown is absent, never zero.

// Kinds of event.
const (
	EventAlarm = "alarm" // a condition became active or cleared
	EventClock = "clock" // the wall clock was stepped
)

// States of an alarm in events and alarm topics.
const (
	StateActive  = "active"
	StateCleared = "cleared"
)

// Event is one entry of the journal and of the topic `event`.
type Event struct {
	Seq       uint64    `json:"seq"` // rises by one for the life of the station
	Time      time.Time `json:"time"`
	Kind      string    `json:"kind"`
	Gland     string    `json:"gland,omitempty"`
	Condition string    `json:"condition,omitempty"`
	State     string    `json:"state,omitempty"`
	Priority  string    `json:"priority,omitempty"`
	DPM       *float64  `json:"dpm,omitempty"`
	DPMLow    *float64  `json:"dpm_low,omitempty"`
	DPMHigh   *float64  `json:"dpm_high,omitempty"`
	RiseC     *float64  `json:"rise_c,omitempty"`
	StepS     *float64  `json:"step_s,omitempty"` // how far the wall clock was stepped, seconds
	Message   string    `json:"message"`
}

// Alarm is one condition of one gland as it stands.
type Alarm struct {
	Gland     string     `json:"gland"`
	Condition string     `json:"condition"`
	State     string     `json:"state"`
	Priority  string     `json:"priority"`
	Since     *time.Time `json:"since,omitempty"` // of the last change; absent: none since the agent started
	Seq       uint64     `json:"seq,omitempty"`   // of the event that made it so
	DPM       *float64   `json:"dpm,omitempty"`   // the evidence of that instant
	RiseC     *float64   `json:"rise_c,omitempty"`
	Message   string     `json:"message,omitempty"`
}

// Active reports whether the condition holds.
func (a Alarm) Active() bool { return a.State == StateActive }

// GlandReading is the latest reading of a gland.
type GlandReading struct {
	Time    time.Time `json:"time"`
	DPM     *float64  `json:"dpm,omitempty"`
	DPMLow  *float64  `json:"dpm_low,omitempty"`
	DPMHigh *float64  `json:"dpm_high,omitempty"`
	TempC   *float64  `json:"temp_c,omitempty"`
	RiseC   *float64  `json:"rise_c,omitempty"`
	Running *bool     `json:"running,omitempty"`
	Quality string    `json:"quality"`
}

// Status says whether the agent is there.
type Status struct {
	State   string    `json:"state"` // online or offline
	Version string    `json:"version"`
	Since   time.Time `json:"since"`
}

// NewGlandReading gives a gland's state in the form that leaves the agent.
func NewGlandReading(at time.Time, g rules.GlandState) GlandReading {
	r := GlandReading{
		Time:    stamp(at),
		DPM:     number(g.Weep.DPM, g.Weep.Known),
		DPMLow:  number(g.Weep.LowDPM, g.Weep.Known),
		DPMHigh: number(g.Weep.HighDPM, g.Weep.Known),
		TempC:   number(g.TempC.Value, g.TempC.Known),
		RiseC:   number(g.RiseC.Value, g.RiseC.Known),
		Quality: g.Quality.String(),
	}
	if g.Running.Known {
		running := g.Running.Value != 0
		r.Running = &running
	}
	return r
}

func alarmEvent(at time.Time, t rules.Transition) Event {
	state := StateCleared
	if t.Active {
		state = StateActive
	}
	return Event{
		Time: stamp(at), Kind: EventAlarm, Gland: t.Gland,
		Condition: t.Condition.String(), State: state, Priority: t.Priority.String(),
		DPM:     number(t.Weep.DPM, t.Weep.Known),
		DPMLow:  number(t.Weep.LowDPM, t.Weep.Known),
		DPMHigh: number(t.Weep.HighDPM, t.Weep.Known),
		RiseC:   number(t.Rise.Value, t.Rise.Known),
		Message: t.Message,
	}
}

func alarmOf(e Event) Alarm {
	since := e.Time
	return Alarm{
		Gland: e.Gland, Condition: e.Condition, State: e.State, Priority: e.Priority,
		Since: &since, Seq: e.Seq, DPM: e.DPM, RiseC: e.RiseC, Message: e.Message,
	}
}

// number rounds to a hundredth: no sensor here knows more.
func number(v float64, known bool) *float64 {
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = math.Round(v*100) / 100
	return &v
}

// stamp cuts to milliseconds, more than the hold of the reorder buffer allows to know.
func stamp(at time.Time) time.Time { return at.UTC().Truncate(time.Millisecond) }
