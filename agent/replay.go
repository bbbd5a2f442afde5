package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// Recorded is the rows of one recording in order of time, as
// sensors/recording.Reader gives them.
type Recorded interface {
	Next() (reading.Reading, error) // io.EOF at the end
	Where() string                  // place of the row that Next gave last, FILE:LINE
}

// ReplayCore is what a replay needs of rules.Station.
type ReplayCore interface {
	Feed(r reading.Reading) ([]rules.Transition, error)
}

// Replay runs recordings through the core, as fast as it goes.
type Replay struct {
	Core       ReplayCore
	Tally      *ReplayTally                 // counts each row; may be nil
	Row        func(reading.Reading)        // told of each row after the core; may be nil
	Transition func(rules.Transition) error // told of each transition; an error ends the replay
	Progress   *ReplayProgress              // told how far it is; may be nil
}

// rowsCore is a core that takes many rows at once, as rules.Station does.
type rowsCore interface {
	Place(gland string) int
	FeedRows(rows []reading.Row, places []int) (int, []rules.Transition)
	FeedStretch(place int, rows *reading.Stretch, from reading.Cursor) (reading.Cursor, []rules.Transition)
}

// Run feeds all rows, merged by time; of rows of one instant those of the
// recording named first go first. Whatever it could not read or feed ends it,
// after everything before that has been fed; the error says where. It returns
// how many rows were fed.
func (p Replay) Run(ctx context.Context, recordings ...Recorded) (rows int64, err error) {
	core, many := p.Core.(rowsCore)
	many = many && p.Row == nil
	merged, err := newMerge(ctx, recordings, many)
	if err != nil {
		return 0, err
	}
	defer merged.close()
	for {
		var h *head
		n := 0
		if ctx.Err() == nil {
			h, n, err = merged.run()
		}
		switch {
		case ctx.Err() != nil:
			return rows, fmt.Errorf("replay stopped after %d rows: %w", rows, context.Cause(ctx))
		case errors.Is(err, io.EOF):
			return rows, nil
		case err != nil:
			return rows, err
		}
		until := h.next + n
		before := h.next + h.taken.Rows()
		switch {
		case h.batch.stretch.Rows() > 0:
			err = p.feedStretch(core, h)
		case many:
			err = p.feedRows(core, h, until)
		default:
			err = p.feed(h, until)
		}
		rows += int64(h.next + h.taken.Rows() - before)
		p.Progress.fed(rows)
		if err != nil {
			return rows, err
		}
	}
}

// feedRows feeds the next rows of a recording. Nearly all the time of a replay is
// spent under here and under the reading.
func (p Replay) feedRows(core rowsCore, h *head, until int) error {
	p.meet(core, h)
	for h.next < until {
		n, transitions := core.FeedRows(h.batch.rows[h.next:until], h.places)
		p.Tally.rows(h.batch.rows[h.next:h.next+n], h.tallies)
		h.next += n
		for _, t := range transitions {
			if err := p.Transition(t); err != nil {
				return err
			}
		}
		if h.next < until && h.places[h.batch.rows[h.next].Point] == rules.NoPlace {
			return h.unknown(h.next, h.batch.rows[h.next].Point)
		}
	}
	return nil
}

// meet finds the places of points met since the last time.
func (p Replay) meet(core rowsCore, h *head) {
	for i := len(h.places); i < len(h.points); i++ {
		h.places = append(h.places, core.Place(h.points[i].Gland))
		if p.Tally != nil {
			h.tallies = append(h.tallies, p.Tally.glands[h.points[i].Gland])
		}
	}
}

// feedStretch feeds a stretch.
func (p Replay) feedStretch(core rowsCore, h *head) error {
	p.meet(core, h)
	stretch := h.batch.stretch
	of := h.batch.of[reading.Drip] // the others are of the same gland
	if h.places[of] == rules.NoPlace {
		row, _ := stretch.Row(h.taken)
		return h.unknown(h.taken.Rows(), h.batch.of[row.Kind])
	}
	for h.taken != stretch.End() {
		to, transitions := core.FeedStretch(h.places[of], stretch, h.taken)
		if p.Tally != nil {
			p.Tally.stretch(h.tallies[of], stretch, h.taken, to)
		}
		h.taken = to
		for _, t := range transitions {
			if err := p.Transition(t); err != nil {
				return err
			}
		}
	}
	return nil
}

// unknown is the error of a row whose gland the station has not.
func (h *head) unknown(row int, of uint16) error {
	p := h.points[of].Point
	return unknownGland(h.batch.where(row), fmt.Errorf("reading of unknown point %s", p), p.Gland)
}

func (p Replay) feed(h *head, until int) error {
	for ; h.next < until; h.next++ {
		r := h.reading(&h.batch.rows[h.next])
		transitions, err := p.Core.Feed(r)
		if err != nil {
			return unknownGland(h.batch.where(h.next), err, r.Point.Gland)
		}
		if p.Tally != nil {
			p.Tally.Row(r)
		}
		if p.Row != nil {
			p.Row(r)
		}
		for _, t := range transitions {
			if err := p.Transition(t); err != nil {
				h.next++
				return err
			}
		}
	}
	return nil
}

func unknownGland(where string, err error, gland string) error {
	return fmt.Errorf("%s: %w; add gland %s to the configuration, or take its rows out of the recording", where, err, gland)
}

// FitRecorded gives cfg with the points fitted that have a row in any of the
// recordings and no others: a recording says by itself what was fitted. It
// reads them up to their end, a fault, or the row that fits the last point; a
// fault is left for Replay.Run to report.
func FitRecorded(cfg rules.Config, recordings ...Recorded) rules.Config {
	fitted := make(map[string]*rules.Fitted, len(cfg.Glands))
	missing := len(cfg.Glands) * int(reading.Kinds)
	for _, g := range cfg.Glands {
		fitted[g.ID] = &rules.Fitted{}
	}
	for _, r := range recordings {
		for missing > 0 {
			row, err := r.Next()
			if err != nil {
				break
			}
			if f := fitted[row.Point.Gland]; f != nil && !row.Point.Kind.Mark() && !f[row.Point.Kind] {
				f[row.Point.Kind] = true
				missing--
			}
		}
	}
	out := rules.Config{Glands: make([]rules.GlandConfig, len(cfg.Glands))}
	for i, g := range cfg.Glands {
		g.Fitted = *fitted[g.ID]
		// No run row means always turning, but where the configuration has sensors
		// for all but the shaft: there the agent infers, and so does a replay.
		g.InferShaft = g.InferShaft && !g.Fitted[reading.Run]
		out.Glands[i] = g
	}
	return out
}

// RecordedTime gives a recording's steady time as the wall time it holds: rows
// carry their Unix time.
func RecordedTime(at time.Duration) time.Time { return time.Unix(0, int64(at)).UTC() }
