package agent

import "time"

// Aggregate is what a series of the history was over a minute or an hour.
type Aggregate struct {
	Start          time.Time // UTC
	Period         time.Duration
	Count          uint64 // how many values; the recorder adds one a second
	Min, Mean, Max float64
}
