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
	Row        func(reading.Reading)        // told of each row before the core; may be nil
	Transition func(rules.Transition) error // told of each transition; an error ends the replay
}

// Run feeds all rows, merged by time; of rows of one instant those of the
// recording named first go first. Whatever it could not read or feed ends it,
// after everything before that has been fed; the error says where. It returns
// how many rows were fed.
func (p Replay) Run(ctx context.Context, recordings ...Recorded) (rows int64, err error) {
	merged, err := newMerge(recordings)
	if err != nil {
		return 0, err
	}
	for {
		if rows%1024 == 0 && ctx.Err() != nil {
			return rows, fmt.Errorf("replay stopped after %d rows: %w", rows, context.Cause(ctx))
		}
		row, where, err := merged.next()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		if err := p.feed(row, where); err != nil {
			return rows, err
		}
		rows++
	}
}

func (p Replay) feed(row reading.Reading, where func() string) error {
	transitions, err := p.Core.Feed(row)
	if err != nil {
		return fmt.Errorf("%s: %w; add gland %s to the configuration, or take its rows out of the recording",
			where(), err, row.Point.Gland)
	}
	if p.Row != nil {
		p.Row(row)
	}
	for _, t := range transitions {
		if err := p.Transition(t); err != nil {
			return err
		}
	}
	return nil
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
