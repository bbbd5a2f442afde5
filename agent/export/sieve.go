package export

import (
	"math"
	"slices"
	"time"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors/recording"
)

// sieve writes the rows of the wanted glands. Where the others kept the station
// watched it writes marks in their place, so that their silence is no gap.
type sieve struct {
	glands  []string // empty: all
	to      *recording.Writer
	written time.Time
	skipped time.Time // newest row of another gland
	rows    int64
	first   time.Time
}

func (s *sieve) take(row agent.ExportRow) error {
	wanted := len(s.glands) == 0 || slices.Contains(s.glands, row.Point.Gland)
	if !wanted && s.rows == 0 { // nothing to keep watched yet
		return nil
	}
	if row.Time.Sub(s.written) > rules.MaxSilence {
		if err := s.bridge(); err != nil {
			return err
		}
	}
	if !wanted {
		s.skipped = row.Time
		return nil
	}
	return s.write(written(row.Reading), row.Time)
}

// bridge marks up to when the station was watched.
func (s *sieve) bridge() error {
	if s.rows == 0 || !s.skipped.After(s.written) {
		return nil
	}
	return s.write(reading.Reading{Point: reading.Point{Gland: s.glands[0], Kind: reading.Watch}}, s.skipped)
}

func (s *sieve) write(r reading.Reading, at time.Time) error {
	if s.rows++; s.rows == 1 {
		s.first = at
	}
	s.written = at
	return s.to.Write(r, at)
}

// end writes what is left.
func (s *sieve) end() error {
	if err := s.bridge(); err != nil {
		return err
	}
	return s.to.Flush()
}

// written gives a reading as a recording can hold it, and as the rules take it:
// a temperature that is no number is a fault to them, a count is whole.
func written(r reading.Reading) reading.Reading {
	if !r.Quality.OK() {
		return r
	}
	switch r.Point.Kind {
	case reading.Drip:
		if !(r.Value >= 0) { // also NaN
			r.Value = 0
		}
		r.Value = min(math.Trunc(r.Value), recording.MaxDrops)
	case reading.Run:
		if r.Value != 0 {
			r.Value = 1
		}
	case reading.Temp, reading.Ref:
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			r.Quality = reading.Garbled
		}
	default:
	}
	return r
}
