package main

import (
	"encoding/json"
	"io"
	"math"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// jsonReport prints one object a transition, one a line.
type jsonReport struct{ out io.Writer }

// jsonTransition is the contract's object; what is not known is null.
type jsonTransition struct {
	Time      string   `json:"time"`
	Gland     string   `json:"gland"`
	Condition string   `json:"condition"`
	State     string   `json:"state"`
	Priority  string   `json:"priority"`
	DPM       *float64 `json:"dpm"`
	RiseC     *float64 `json:"rise_c"`
	Message   string   `json:"message"`
}

func (r jsonReport) transition(t rules.Transition) error {
	lines := json.NewEncoder(r.out)
	lines.SetEscapeHTML(false)
	return lines.Encode(jsonTransition{
		Time:      instant(t.At),
		Gland:     t.Gland,
		Condition: t.Condition.String(),
		State:     stateOf(t),
		Priority:  t.Priority.String(),
		DPM:       known(t.Weep.DPM, t.Weep.Known),
		RiseC:     known(t.Rise.Value, t.Rise.Known),
		Message:   t.Message,
	})
}

func (jsonReport) end(*agent.ReplayTally) error { return nil }

func stateOf(t rules.Transition) string {
	if t.Active {
		return agent.StateActive
	}
	return agent.StateCleared
}

// known rounds to a hundredth: no sensor here knows more.
func known(v float64, ok bool) *float64 {
	if !ok || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = math.Round(v*100) / 100
	return &v
}

// instant gives RFC 3339 in UTC: milliseconds, or nanoseconds where there are.
func instant(at time.Duration) string {
	layout := "2006-01-02T15:04:05.000Z07:00"
	if at%time.Millisecond != 0 {
		layout = "2006-01-02T15:04:05.000000000Z07:00"
	}
	return agent.RecordedTime(at).Format(layout)
}
