package gpio

import (
	"context"
	"errors"
	"fmt"
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

	patience *sensors.Patience
	*sensors.Notebook
}

func newSource(cfg Config, gland string, open opener, clock sensors.Clock) *Source {
	s := &Source{cfg: cfg, open: open, point: reading.Point{Gland: gland, Kind: reading.Drip}, clock: clock}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s
}

// Points is the gland's drip point.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the line.
func (s *Source) String() string { return "gpio " + s.cfg.Pin }

// Heed lets edges wait in the kernel while they are not wanted at once.
func (s *Source) Heed(p *sensors.Patience) { s.patience = p }

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
	w := &watch{line: l, counter: newCounter(s.point, s.cfg.Debounce, s.clock()), clock: s.clock, emit: emit, book: s.Notebook, patience: s.patience}
	for ctx.Err() == nil {
		if err == nil {
			err = w.run(ctx)
			// A line that is gone cannot be closed any better.
			_ = w.line.close()
		}
		if err != nil {
			w.line, err = s.reopen(ctx, w, err), nil
		}
	}
	return nil
}

// reopen gives the line anew, or nil when ctx ends.
func (s *Source) reopen(ctx context.Context, w *watch, why error) line {
	w.why = why
	w.told(w.counter.gone(s.clock(), qualityOf(why)))
	w.patience.Served()
	for pause(ctx, retryEvery); ctx.Err() == nil; pause(ctx, retryEvery) {
		l, err := s.open(use{cfg: s.cfg})
		if err == nil {
			return l
		}
		w.why = err
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
	book    *sensors.Notebook
	why     error // the line is or was gone

	patience *sensors.Patience
}

// told emits a reading, with the number of lost edges if that is known.
func (w *watch) told(r reading.Reading, ok bool) {
	if !ok {
		return
	}
	w.book.Enter(r.At, r.Point, sensors.Finding{
		Value: r.Value, Quality: r.Quality, Raw: fmt.Sprintf("%d edges", w.counter.seq), Cause: w.cause(r),
	})
	w.emit(r)
}

func (w *watch) cause(r reading.Reading) string {
	switch {
	case r.Quality.OK():
		return ""
	case r.Quality == reading.Storm:
		return fmt.Sprintf("over %d edges within a second: bounce or interference; look at the wiring, raise debounce", stormEdges)
	case r.Quality == reading.Lost && r.Value > 0:
		return fmt.Sprintf("the kernel threw %.0f edges away for want of room", r.Value)
	case r.Quality == reading.Lost:
		return "the kernel threw edges away for want of room"
	case w.why != nil:
		return w.why.Error()
	}
	return ""
}

// run returns nil when ctx ends, or why the line is gone.
func (w *watch) run(ctx context.Context) error {
	w.counter.restart()
	times := timeline{clock: w.clock, line: w.line.now}
	for range mostLooks {
		times.look()
	}
	for ctx.Err() == nil {
		if !w.line.keeps() || !w.patience.Asked(ctx) {
			w.line.wait(ctx, max(w.counter.due()-w.clock(), shortestNap))
		}
		if err := w.hand(&times); err != nil {
			return err
		}
		if w.counter.storming {
			pause(ctx, stormPause)
		}
	}
	return nil
}

// hand emits what the line has.
func (w *watch) hand(times *timeline) error {
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
	return nil
}
