package reading

import "time"

// MostApart is the longest that two rows of a Stretch lie apart.
const MostApart = 60 * time.Second

// Stretch is rows of one gland in order of time, none more than MostApart after
// the one before: single drops and good temperatures by what they are, for those
// who have millions of them.
type Stretch struct {
	Drops []time.Duration // as Reading.At
	Warms []Warm
}

// Warm is a temperature of a Stretch.
type Warm struct {
	At    time.Duration // as Reading.At
	C     float64       // °C
	After int32         // so many drops of the stretch come before it
	Kind  Kind          // Temp or Ref
}

// Cursor is a place in a Stretch: what has been taken of it.
type Cursor struct{ Drops, Warms int }

// Rows is how many rows have been taken.
func (c Cursor) Rows() int { return c.Drops + c.Warms }

// End is the place behind all rows; of none, the start.
func (s *Stretch) End() Cursor {
	if s == nil {
		return Cursor{}
	}
	return Cursor{len(s.Drops), len(s.Warms)}
}

// Rows is how many rows the stretch has.
func (s *Stretch) Rows() int { return s.End().Rows() }

// WarmIsNext reports that the row at a place is a temperature.
func (s *Stretch) WarmIsNext(c Cursor) bool {
	return c.Warms < len(s.Warms) && int(s.Warms[c.Warms].After) <= c.Drops
}

// Row is the row at a place, without its point and line, and the place behind it.
func (s *Stretch) Row(c Cursor) (Row, Cursor) {
	if s.WarmIsNext(c) {
		w := &s.Warms[c.Warms]
		return Row{At: w.At, Value: w.C, Kind: w.Kind, Quality: Good}, Cursor{c.Drops, c.Warms + 1}
	}
	return Row{At: s.Drops[c.Drops], Value: 1, Kind: Drip, Quality: Good}, Cursor{c.Drops + 1, c.Warms}
}
