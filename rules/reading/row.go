package reading

import "time"

// Row is a reading whose point is a number in a list that goes with it, for
// those who have millions of them.
type Row struct {
	At      time.Duration // as in Reading
	Value   float64
	Line    uint32 // where it stands, counted from a place that goes with the list
	Point   uint16
	Kind    Kind
	Quality Quality
}
