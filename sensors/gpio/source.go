package gpio

import (
	"context"
	"errors"
	"io/fs"
	"time"

	"golang.org/x/sys/unix"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source counts drops on one line.
type Source struct {
	cfg   Config
	open  opener
	point reading.Point
	clock sensors.Clock
}

func newSource(cfg Config, gland string, open opener, clock sensors.Clock) *Source {
	return &Source{cfg: cfg, open: open, point: reading.Point{Gland: gland, Kind: reading.Drip}, clock: clock}
}

// Points is the gland's drip point.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the line.
func (s *Source) String() string { return "gpio " + s.cfg.Pin }

const (
	stormPause  = 2 * time.Millisecond // bounds the work that a storm makes, and shows a pin more than quietEdges
	retryEvery  = time.Second          // to get a line back that went away
	mostLooks   = 8                    // at two clocks, to begin with
	shortestNap = time.Millisecond
)

// Run counts until ctx ends. Each accepted edge is a reading of one drop at the
// time of the edge. A line that is away or taken is looked for until it is
// there; Run fails only if it is there and cannot be what we need.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	l, err := s.open(use{cfg: s.cfg})
	if err != nil && !heals(err) {
		return err
	}
	// Edges that the kernel has debounced lie far enough apart for our rule too.
	w := &watch{line: l, counter: newCounter(s.point, s.cfg.Debounce, s.clock()), clock: s.clock, emit: emit}
	for ctx.Err() == nil {
		if err == nil {
			err = w.run(ctx)
			// A line that is gone cannot be closed any better.
			_ = w.line.close()
		}
		if err != nil {
			w.line, err = s.reopen(ctx, w, qualityOf(err)), nil
		}
	}
	return nil
}

// reopen gives the line anew, or nil when ctx ends.
func (s *Source) reopen(ctx context.Context, w *watch, why reading.Quality) line {
	w.told(w.counter.gone(s.clock(), why))
	for pause(ctx, retryEvery); ctx.Err() == nil; pause(ctx, retryEvery) {
		if l, err := s.open(use{cfg: s.cfg}); err == nil {
			return l
		}
		w.told(w.counter.gone(s.clock(), reading.NoAnswer))
	}
	return nil
}

// heals reports whether an error of asking for a line may pass by itself.
func heals(err error) bool {
	return errors.Is(err, errNoLine) || errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) ||
		errors.Is(err, unix.EBUSY) || errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ENXIO)
}

func qualityOf(err error) reading.Quality {
	if errors.Is(err, errGarbled) {
		return reading.Garbled
	}
	return reading.NoAnswer
}

// watch counts on a line for as long as it is there.
type watch struct {
	line    line
	counter *counter
	clock   sensors.Clock
	emit    func(reading.Reading)
}

func (w *watch) told(r reading.Reading, ok bool) {
	if ok {
		w.emit(r)
	}
}

// run returns nil when ctx ends, or why the line is gone.
func (w *watch) run(ctx context.Context) error {
	w.counter.restart()
	times := timeline{clock: w.clock, line: w.line.now}
	for range mostLooks {
		times.look()
	}
	for ctx.Err() == nil {
		w.line.wait(ctx, max(w.counter.due()-w.clock(), shortestNap))
		// Looked at before reading: what is not there then is later than now.
		now := times.look()
		edges, err := w.line.read()
		if err != nil {
			return err
		}
		for _, e := range edges {
			at := times.of(e.at)
			w.told(w.counter.missed(at, e.seq))
			w.told(w.counter.edge(at))
		}
		if len(edges) == 0 {
			w.told(w.counter.quiet(now))
		}
		if w.counter.storming {
			pause(ctx, stormPause)
		}
	}
	return nil
}
