package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says what a Source plays.
type Config struct {
	Path string // a recording; not "-", it is read twice

	// Speed is how many times faster than real time rows are emitted; 0 means
	// 1. Time stamps keep the recording's own spacing, so at any other speed
	// they run ahead of the clock (or fall behind it). That is for trying
	// things out, not for a station with other, live sources.
	Speed float64

	// Routes says which recorded points are played as which of the station;
	// empty means all of the recording under its own names.
	Routes []Route
}

// Route plays a recorded point as a point of the station, of the same kind.
type Route struct{ Recorded, As reading.Point }

// Source plays a recording as if it came from live sensors: its first row at
// the clock's time when Run starts, all others at their distance from it.
// Where the recording is silent about drops but not a gap, it adds the
// zero-drop readings that a live source owes its listener.
type Source struct {
	cfg    Config
	clock  sensors.Clock
	routes []Route
}

// New reads the recording once to learn its points. A recording that cannot be
// opened, without rows or without a point of cfg.Routes is an error; one that is
// broken later on is played up to there, then Run returns the error.
func New(cfg Config, clock sensors.Clock) (*Source, error) {
	if cfg.Speed == 0 {
		cfg.Speed = 1
	}
	if !(cfg.Speed > 0) || math.IsInf(cfg.Speed, 0) {
		return nil, fmt.Errorf("recording %s: speed %g; want a number above 0", cfg.Path, cfg.Speed)
	}
	if cfg.Path == "-" {
		return nil, errors.New("recording source: standard input cannot be played; give a file")
	}
	found, err := pointsOf(cfg.Path)
	if err != nil {
		return nil, err
	}
	if len(cfg.Routes) > 0 {
		if err := cfg.check(found); err != nil {
			return nil, err
		}
		return &Source{cfg: cfg, clock: clock, routes: slices.Clone(cfg.Routes)}, nil
	}
	s := &Source{cfg: cfg, clock: clock}
	for _, p := range found {
		s.routes = append(s.routes, Route{p, p})
	}
	return s, nil
}

// pointsOf lists the points of a recording in the order of their first rows,
// up to its end or its first fault.
func pointsOf(path string) ([]reading.Point, error) {
	r, err := Open(path)
	if err != nil {
		return nil, err
	}
	var points []reading.Point
	seen := make(map[reading.Point]bool)
	for {
		row, err := r.Next()
		if err == nil {
			if !seen[row.Point] && !row.Point.Kind.Mark() { // of another agent's life
				seen[row.Point] = true
				points = append(points, row.Point)
			}
			continue
		}
		if len(points) > 0 {
			return points, r.Close()
		}
		if errors.Is(err, io.EOF) {
			err = fmt.Errorf("%s:1: no rows; nothing to play, give another recording", path)
		}
		return nil, errors.Join(err, r.Close())
	}
}

func (c Config) check(found []reading.Point) error {
	used := make(map[reading.Point]bool)
	for _, r := range c.Routes {
		switch {
		case !slices.Contains(found, r.Recorded):
			return fmt.Errorf("recording %s: no row of point %s; it has %v", c.Path, r.Recorded, found)
		case r.Recorded.Kind != r.As.Kind || !reading.ValidGlandID(r.As.Gland):
			return fmt.Errorf("recording %s: point %s cannot be played as %s; want a gland's point of the same kind", c.Path, r.Recorded, r.As)
		case used[r.As]:
			return fmt.Errorf("recording %s: point %s is played twice; give it one recorded point", c.Path, r.As)
		}
		used[r.As] = true
	}
	return nil
}

// Points lists what the recording holds, or what it is routed to.
func (s *Source) Points() []reading.Point {
	points := make([]reading.Point, len(s.routes))
	for i, r := range s.routes {
		points[i] = r.As
	}
	return points
}

// String names the recording.
func (s *Source) String() string { return fmt.Sprintf("recording %s", s.cfg.Path) }

// Run plays the recording until its end (nil), its first fault (the error of
// Reader.Next) or the end of ctx (nil).
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) (err error) {
	r, err := Open(s.cfg.Path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	p := newPlayer(ctx, emit, s)
	for {
		row, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if !p.play(row) {
			return nil
		}
	}
}
