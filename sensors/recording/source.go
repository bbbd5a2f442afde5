package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// maxSilence is the longest stretch without any row that counts as watched; a
// longer one is a gap (see the design's recording format).
const maxSilence = 60 * time.Second

// Config says what a Source plays.
type Config struct {
	Path string // a recording; not "-", it is read twice

	// Speed is how many times faster than real time rows are emitted; 0 means
	// 1. Time stamps keep the recording's own spacing, so at any other speed
	// they run ahead of the clock (or fall behind it). That is for trying
	// things out, not for a station with other, live sources.
	Speed float64

	// Points limits the playing to these; empty means all of the recording.
	Points []reading.Point
}

// Source plays a recording as if it came from live sensors: its first row at
// the clock's time when Run starts, all others at their distance from it.
// Where the recording is silent about drops but not a gap, it adds the
// zero-drop readings that a live source owes its listener.
type Source struct {
	cfg    Config
	clock  sensors.Clock
	points []reading.Point
}

// New reads the recording once to learn its points. A recording that cannot be
// opened, without rows or without one of cfg.Points is an error; one that is
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
	s := &Source{cfg: cfg, clock: clock, points: found}
	if len(cfg.Points) > 0 {
		if s.points, err = chosen(cfg, found); err != nil {
			return nil, err
		}
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
			if !seen[row.Point] {
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

func chosen(cfg Config, found []reading.Point) ([]reading.Point, error) {
	has := make(map[reading.Point]bool, len(found))
	for _, p := range found {
		has[p] = true
	}
	var points []reading.Point
	for _, p := range cfg.Points {
		if !has[p] {
			return nil, fmt.Errorf("recording %s: no row of point %s; it has %v", cfg.Path, p, found)
		}
		has[p] = false // a second mention of it is a duplicate
		points = append(points, p)
	}
	return points, nil
}

// Points lists what the recording holds, or what was chosen of it.
func (s *Source) Points() []reading.Point { return append([]reading.Point(nil), s.points...) }

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
	p := &player{ctx: ctx, emit: emit, clock: s.clock, speed: s.cfg.Speed, start: s.clock(), drops: make(map[reading.Point]time.Duration)}
	wanted := make(map[reading.Point]bool, len(s.points))
	for _, point := range s.points {
		wanted[point] = true
		if point.Kind == reading.Drip {
			p.drops[point] = 0
		}
	}
	for {
		row, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if !p.play(row, wanted[row.Point]) {
			return nil
		}
	}
}

// player moves rows onto the station's clock.
type player struct {
	ctx     context.Context
	emit    func(reading.Reading)
	clock   sensors.Clock
	speed   float64
	start   time.Duration // on the clock
	first   time.Duration // of the recording
	last    time.Duration // row before, of the recording
	started bool
	drops   map[reading.Point]time.Duration // last reading of each wanted drop point, of the recording
}

// play waits for the row's time and emits it; false means that ctx ended.
func (p *player) play(row reading.Reading, wanted bool) bool {
	begins := !p.started
	if begins {
		p.first, p.started = row.At, true
	}
	if begins || row.At-p.last > maxSilence {
		for point := range p.drops { // nobody watched before: owe nothing
			p.drops[point] = row.At
		}
	}
	p.last = row.At
	for {
		point, due := p.owed(row)
		if due >= row.At {
			break
		}
		if !p.deliver(reading.Reading{At: due, Point: point}) {
			return false
		}
	}
	return !wanted || p.deliver(row)
}

// owed finds the drop point that has been silent longest and when its next
// zero is due; with none, a time after row.
func (p *player) owed(row reading.Reading) (reading.Point, time.Duration) {
	var oldest reading.Point
	due := row.At
	for point, last := range p.drops {
		at := last + sensors.WatchEvery
		if at < due || at == due && due < row.At && point.Gland < oldest.Gland {
			oldest, due = point, at
		}
	}
	return oldest, due
}

func (p *player) deliver(r reading.Reading) bool {
	elapsed := r.At - p.first
	if !p.waitUntil(float64(elapsed) / p.speed) {
		return false
	}
	if r.Point.Kind == reading.Drip {
		p.drops[r.Point] = r.At
	}
	r.At = p.start + elapsed
	p.emit(r)
	return true
}

// waitUntil waits for the clock to be ns nanoseconds after the start.
func (p *player) waitUntil(ns float64) bool {
	wait := time.Duration(min(ns, math.MaxInt64/2)) - (p.clock() - p.start)
	if wait <= 0 {
		return p.ctx.Err() == nil
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-p.ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
