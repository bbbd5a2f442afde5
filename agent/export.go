package agent

import (
	"time"

	"weepd/rules/reading"
)

// ExportRequest says what of the history is wanted.
type ExportRequest struct {
	Glands []string `json:"glands,omitempty"` // empty: all
	// From and To bound the time; zero: as far as there is something.
	From time.Time `json:"from,omitzero"`
	To   time.Time `json:"to,omitzero"`
	// Around is the seq of an event; From and To then stand aside for so much
	// Before and After it.
	Around uint64        `json:"around,omitempty"`
	Before time.Duration `json:"before,omitempty"`
	After  time.Duration `json:"after,omitempty"`
	// Whole begins at the start of the agent's run in which the stretch begins.
	Whole bool `json:"whole,omitempty"`
}

// ExportRow is a row of the history with the time that a recording gives it:
// the wall clock's, with one relation to the steady clock for a whole run of
// the agent, so that a clock that was set in between leaves no gap.
type ExportRow struct {
	reading.Reading
	Time time.Time
}

// Exported tells what was exported.
type Exported struct {
	Rows int64     `json:"rows"`
	From time.Time `json:"from,omitzero"` // of the first row
	To   time.Time `json:"to,omitzero"`   // of the last row
	// Notes say where a replay may differ from what the agent said, and why.
	Notes []string `json:"notes,omitempty"`
}
