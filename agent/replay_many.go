package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"

	"weepd/rules"
	"weepd/rules/reading"
)

// ManyReplay runs recordings once through several stations, so that settings
// can be held against each other. Each station takes the rows of the glands
// that it knows.
type ManyReplay struct {
	Configs []rules.Config // points are fitted as the recordings have them
	Stdin   io.Reader      // read for the name "-"
	// Row is told of each row, in order; may be nil.
	Row func(reading.Reading)
	// Transition is told of each transition of a station, in its order and after
	// the rows up to it; those of different stations come batch by batch.
	Transition func(station int, t rules.Transition)
	Progress   *ReplayProgress // may be nil
}

// replayBatch is how many rows are handed to the stations at once.
const replayBatch = 2048

// Run reads the recordings by name. It returns how many rows were fed, all of
// them before an error.
func (p ManyReplay) Run(ctx context.Context, paths []string) (rows int64, err error) {
	opened := recordedFiles{stdin: p.Stdin, paths: paths, once: !slices.ContainsFunc(p.Configs, infers)}
	defer func() { err = errors.Join(err, opened.close()) }()
	found, err := opened.open()
	if err != nil {
		return 0, err
	}
	configs := p.Configs
	if !opened.once {
		configs = fitAll(configs, found)
		if found, err = opened.open(); err != nil { // the second reading starts over
			return 0, err
		}
	}
	crowd, err := newCrowd(configs)
	if err != nil {
		return 0, err
	}
	p.Progress.begin(opened.readers, opened.size())
	merged, err := newMerge(ctx, found, false)
	if err != nil {
		return 0, err
	}
	defer merged.close()
	for err == nil {
		var batch []reading.Reading
		batch, err = crowd.batch(merged)
		if ctx.Err() != nil {
			return rows, fmt.Errorf("replay stopped after %d rows: %w", rows, context.Cause(ctx))
		}
		crowd.feed()
		rows += int64(len(batch))
		p.Progress.fed(rows)
		p.tell(batch, crowd)
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return rows, err
}

func (p ManyReplay) tell(batch []reading.Reading, c *crowd) {
	if p.Row != nil {
		for _, row := range batch {
			p.Row(row)
		}
	}
	for i := range c.stations {
		for _, t := range c.stations[i].out {
			p.Transition(i, t)
		}
		c.stations[i].out = c.stations[i].out[:0]
	}
}

// crowd is the stations that take the same rows.
type crowd struct {
	stations []crowded
	known    map[string]bool // glands of any of them
	numbers  map[reading.Point]uint16
	readings []reading.Reading
	rows     []reading.Row // the same, with their point's number
}

type crowded struct {
	*rules.Station
	places []int // by a point's number
	out    []rules.Transition
}

// fitAll is FitRecorded for several configurations.
func fitAll(configs []rules.Config, recordings []Recorded) []rules.Config {
	var union rules.Config
	known := make(map[string]bool)
	for _, cfg := range configs {
		for _, g := range cfg.Glands {
			if !known[g.ID] {
				known[g.ID] = true
				union.Glands = append(union.Glands, g)
			}
		}
	}
	fitted := make(map[string]rules.Fitted)
	for _, g := range FitRecorded(union, recordings...).Glands {
		fitted[g.ID] = g.Fitted
	}
	out := make([]rules.Config, len(configs))
	for i, cfg := range configs {
		for _, g := range cfg.Glands {
			g.Fitted = fitted[g.ID]
			g.InferShaft = g.InferShaft && !g.Fitted[reading.Run] // as FitRecorded
			out[i].Glands = append(out[i].Glands, g)
		}
	}
	return out
}

func newCrowd(configs []rules.Config) (*crowd, error) {
	c := &crowd{known: make(map[string]bool), numbers: make(map[reading.Point]uint16)}
	for _, cfg := range configs {
		station, err := rules.NewStation(cfg)
		if err != nil {
			return nil, err
		}
		c.stations = append(c.stations, crowded{Station: station})
		for _, g := range cfg.Glands {
			c.known[g.ID] = true
		}
	}
	return c, nil
}

// batch reads the next rows, over those of the batch before; what ends the
// reading comes with the last of them.
func (c *crowd) batch(from *merge) ([]reading.Reading, error) {
	c.readings, c.rows = c.readings[:0], c.rows[:0]
	for len(c.rows) < replayBatch {
		row, where, err := from.next()
		if err != nil {
			return c.readings, err
		}
		number, met := c.numbers[row.Point]
		if !met && c.known[row.Point.Gland] {
			number = c.meet(row.Point)
		} else if !met {
			return c.readings, fmt.Errorf("%s: reading of unknown point %s; add gland %s to the configuration, or take its rows out of the recording",
				where(), row.Point, row.Point.Gland)
		}
		c.readings = append(c.readings, row)
		c.rows = append(c.rows, reading.Row{At: row.At, Point: number, Kind: row.Point.Kind, Value: row.Value, Quality: row.Quality})
	}
	return c.readings, nil
}

// meet numbers a new point.
func (c *crowd) meet(p reading.Point) uint16 {
	number := uint16(len(c.numbers))
	c.numbers[p] = number
	for i := range c.stations {
		s := &c.stations[i]
		s.places = append(s.places, s.Place(p.Gland))
	}
	return number
}

// feed gives all stations the rows, on all processors.
func (c *crowd) feed() {
	var group sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), len(c.stations))
	for w := range workers {
		group.Go(func() {
			for i := w; i < len(c.stations); i += workers {
				c.stations[i].feed(c.rows)
			}
		})
	}
	group.Wait()
}

func (s *crowded) feed(rows []reading.Row) {
	for len(rows) > 0 {
		n, out := s.FeedRows(rows, s.places)
		s.out = append(s.out, out...)
		rows = rows[n:]
		if len(rows) > 0 && s.places[rows[0].Point] == rules.NoPlace {
			// Time passes all the same, so that gaps are those of the station.
			s.out = append(s.out, s.Advance(rows[0].At)...)
			rows = rows[1:]
		}
	}
}
