package agent

import (
	"encoding/json"
	"math"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
)

// The JSON that leaves the agent, the same on MQTT and HTTP. Times are RFC 3339
// in UTC; what is unknown is absent, never zero.

// Kinds of event.
const (
	EventAlarm  = "alarm"  // an alarm changed: its condition, or where it stands in its life
	EventUpkeep = "upkeep" // somebody recorded work at a gland
	EventStep   = "step"   // the weep stepped and nobody recorded work: "adjusted?"
	EventClock  = "clock"  // the wall clock was stepped
	EventDown   = "down"   // the agent was not running for a while
	EventStore  = "store"  // the store was damaged, or takes events again
	EventConfig = "config" // the configuration was changed while running, or a change was refused
)

// States of a process condition, in events and alarm topics.
const (
	StateActive  = "active"
	StateCleared = "cleared"
)

// Event is one entry of the journal and of the topic `event`.
type Event struct {
	Seq          uint64     `json:"seq"` // rises by one for the life of the station
	Time         time.Time  `json:"time"`
	Kind         string     `json:"kind"`
	Gland        string     `json:"gland,omitempty"` // or the id of a shared cause
	Condition    string     `json:"condition,omitempty"`
	State        string     `json:"state,omitempty"`        // of the process condition: active or cleared
	AlarmState   string     `json:"alarm_state,omitempty"`  // where the alarm stands in its life, IEC 62682
	Acknowledged bool       `json:"acknowledged,omitempty"` // tells both latched states apart
	Was          string     `json:"was,omitempty"`          // AlarmState before
	Priority     string     `json:"priority,omitempty"`
	By           string     `json:"by,omitempty"`    // who; absent: the process, logic or time
	Note         string     `json:"note,omitempty"`  // in that person's words
	Until        *time.Time `json:"until,omitempty"` // the end of a shelf
	Members      []string   `json:"members,omitempty"`
	DPM          *float64   `json:"dpm,omitempty"` // the evidence
	DPMLow       *float64   `json:"dpm_low,omitempty"`
	DPMHigh      *float64   `json:"dpm_high,omitempty"`
	RiseC        *float64   `json:"rise_c,omitempty"`
	Entry        *Entry     `json:"entry,omitempty"`   // upkeep
	Command      string     `json:"command,omitempty"` // id of the command that did it
	From         *time.Time `json:"from,omitempty"`    // down: the last sign of life
	To           *time.Time `json:"to,omitempty"`      // down: the start; absent while the clock is behind
	StepS        *float64   `json:"step_s,omitempty"`  // how far the wall clock was stepped, seconds
	Changes      []Change   `json:"changes,omitempty"` // config: what changed; none: it was refused
	Message      string     `json:"message"`

	At time.Duration `json:"-"` // steady time
}

// Change is one key of the configuration that has another value. What is not in
// the file has its default.
type Change struct {
	Key string `json:"key"` // e.g. glands.p1-de.limits.rise_c
	Old string `json:"old,omitempty"`
	New string `json:"new,omitempty"`
}

// Entry is what somebody recorded of a gland, as it was given.
type Entry struct {
	Kind  string          `json:"kind"`
	Value json.RawMessage `json:"value,omitempty"`
}

// Alarm is one alarm as it stands: a condition of a gland or of a shared cause.
type Alarm struct {
	Gland        string     `json:"gland"`
	Condition    string     `json:"condition"`
	State        string     `json:"state"` // of the process condition, whatever people did about it
	Priority     string     `json:"priority"`
	AlarmState   string     `json:"alarm_state,omitempty"`
	Acknowledged bool       `json:"acknowledged,omitempty"`
	Since        *time.Time `json:"since,omitempty"`   // State's last change; absent: none yet
	Changed      *time.Time `json:"changed,omitempty"` // AlarmState's last change
	Until        *time.Time `json:"until,omitempty"`   // the end of a shelf
	By           string     `json:"by,omitempty"`      // who brought AlarmState about
	Note         string     `json:"note,omitempty"`
	Cause        string     `json:"cause,omitempty"`   // the shared cause's alarm that stands for this one
	Members      []string   `json:"members,omitempty"` // a shared cause's: the conditions it stands for
	Seq          uint64     `json:"seq,omitempty"`     // of the event that made it so
	DPM          *float64   `json:"dpm,omitempty"`     // the evidence of State's last change
	RiseC        *float64   `json:"rise_c,omitempty"`
	Message      string     `json:"message,omitempty"`
}

// Active reports whether the condition holds.
func (a Alarm) Active() bool { return a.State == StateActive }

// Life is where the alarm stands in its life.
func (a Alarm) Life() alarm.State {
	s, err := alarm.ParseState(a.AlarmState, a.Acknowledged)
	if err != nil { // absent: nothing has happened yet
		return alarm.Normal
	}
	return s
}

// Standing reports whether there is anything to tell of the alarm.
func (a Alarm) Standing() bool { return a.Active() || a.Life() != alarm.Normal }

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
	// Config tells of a changed configuration that is at fault and not in force.
	Config *ConfigTrouble `json:"config,omitempty"`
}

// ConfigTrouble is why a changed configuration is not in force.
type ConfigTrouble struct {
	Problem string    `json:"problem"`
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

// number rounds to a hundredth: no sensor here knows more.
func number(v float64, known bool) *float64 {
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = math.Round(v*100) / 100
	return &v
}

// stamp cuts to milliseconds, as exact as readings of several sources are in order.
func stamp(at time.Time) time.Time { return at.UTC().Truncate(time.Millisecond) }
