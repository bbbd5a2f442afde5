package agent

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"weepd/rules/reading"
	"weepd/rules/weep"
	"weepd/sensors"
)

// PointRow is a point as it stands, for people at the sensors.
type PointRow struct {
	Point   reading.Point
	Source  string // what reads it
	Seen    bool   // there was a reading
	Reading reading.Reading
	Age     time.Duration // of the reading
	Raw     string        // what the device said, where its source tells
	Cause   string        // of a bad reading, or a reserve about a good one

	// Of drips, since the start:
	Drops uint64
	Bad   uint64    // readings that are not to be believed: drops may be missing
	Weep  weep.Rate // of the last minute, for drops at random
	Known bool      // Weep is
}

// Points watches sensors without the core: readings as they come, and what
// stands behind them.
type Points struct {
	clock *Clock
	feeds []Feed
	queue *queue

	mu      sync.Mutex
	rows    []pointState
	at      map[reading.Point]int
	sources []sourceState // of the feeds
}

type pointState struct {
	point   reading.Point
	feed    int // -1: none
	seen    bool
	last    reading.Reading
	drops   uint64
	bad     uint64
	counter weep.Counter
}

// sourceState is what is known of a feed's source besides its readings.
type sourceState struct {
	annotated sensors.Annotated // nil: it tells nothing, or is not open
	failed    string            // why it could not be opened, or ended
}

// NewPoints makes a watch over the feeds' points, which are shown in the given
// order. Nothing runs yet.
func NewPoints(order []reading.Point, feeds []Feed, clock *Clock) *Points {
	p := &Points{
		clock: clock, queue: newQueue(queueSize, slog.New(slog.DiscardHandler)),
		at: make(map[reading.Point]int), sources: make([]sourceState, len(feeds)),
	}
	for i, point := range order {
		p.at[point] = i
		p.rows = append(p.rows, pointState{point: point, feed: -1})
	}
	for i, f := range feeds {
		for _, point := range f.Points {
			if at, shown := p.at[point]; shown {
				p.rows[at].feed = i
			}
		}
		p.feeds = append(p.feeds, p.eavesdrop(i, f))
	}
	return p
}

// Run watches until ctx ends.
func (p *Points) Run(ctx context.Context) error {
	var all sync.WaitGroup
	for _, f := range p.feeds {
		s := &supervisor{feed: f, clock: p.clock, queue: p.queue, log: p.queue.log, tried: func() {}}
		all.Go(func() { s.run(ctx) })
	}
	all.Go(func() { p.take(ctx) })
	all.Wait()
	return nil
}

func (p *Points) take(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-p.queue.readings:
			p.enter(r)
		}
	}
}

func (p *Points) enter(r reading.Reading) {
	p.mu.Lock()
	defer p.mu.Unlock()
	at, shown := p.at[r.Point]
	if !shown {
		return
	}
	s := &p.rows[at]
	if r.Point.Kind == reading.Drip {
		s.drip(r)
	}
	s.seen, s.last = true, r
}

func (s *pointState) drip(r reading.Reading) {
	n := int(r.Value)
	switch {
	case !r.Quality.OK():
		s.bad++
		return
	case !s.seen || !s.last.Quality.OK():
		s.counter.Restart(r.At)
	case n > 0:
		s.counter.Add(r.At, n)
	}
	s.drops += uint64(max(n, 0))
}

// Rows gives the points as they stand.
func (p *Points) Rows() []PointRow {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.clock.Steady()
	notes := p.notes()
	rows := make([]PointRow, len(p.rows))
	for i, s := range p.rows {
		row := PointRow{Point: s.point, Seen: s.seen, Reading: s.last, Drops: s.drops, Bad: s.bad}
		if s.feed >= 0 {
			row.Source = p.feeds[s.feed].Name
			row.Cause = p.sources[s.feed].failed
		}
		if note, told := notes[s.point]; told {
			row.Raw, row.Cause = note.Raw, note.Cause
		}
		if s.seen {
			row.Age = max(now-s.last.At, 0)
		}
		if row.Cause == "" && s.seen {
			row.Cause = hint(s.last.Quality)
		}
		if s.seen && s.last.Quality.OK() && s.point.Kind == reading.Drip {
			row.Weep, row.Known = s.counter.Known(now, 0, 1)
		}
		rows[i] = row
	}
	return rows
}

// notes gives what the sources that run tell of their points.
func (p *Points) notes() map[reading.Point]sensors.Note {
	all := make(map[reading.Point]sensors.Note)
	for _, s := range p.sources {
		if s.annotated == nil {
			continue
		}
		for _, n := range s.annotated.Notes() {
			all[n.Point] = n
		}
	}
	return all
}

// eavesdrop makes the feed tell what becomes of its source.
func (p *Points) eavesdrop(i int, f Feed) Feed {
	open := f.Open
	f.Open = func() (sensors.Source, error) {
		s, err := open()
		p.became(i, s, err)
		if err != nil {
			return nil, err
		}
		return overheard{s, func(err error) { p.became(i, nil, err) }}, nil
	}
	return f
}

func (p *Points) became(i int, s sensors.Source, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.sources[i] = sourceState{}
	switch annotated, tells := s.(sensors.Annotated); {
	case err != nil:
		p.sources[i].failed = err.Error()
	case s == nil:
		p.sources[i].failed = "the source has come to its end"
	case tells:
		p.sources[i].annotated = annotated
	}
}

// overheard tells when a source ends by itself.
type overheard struct {
	sensors.Source
	ended func(error)
}

// Run is the source's.
func (o overheard) Run(ctx context.Context, emit func(reading.Reading)) error {
	err := o.Source.Run(ctx, emit)
	if ctx.Err() == nil {
		o.ended(err)
	}
	return err
}

// hint says where to look first where the source itself tells nothing.
func hint(q reading.Quality) string {
	switch q {
	case reading.Good:
		return ""
	case reading.Inferred:
		return "derived from other readings, not measured"
	case reading.OpenCircuit:
		return "look for a broken wire or a sensor that is unplugged"
	case reading.ShortCircuit:
		return "look for wires that touch each other or ground"
	case reading.OutOfRange:
		return "outside what can be; look at scale, offset and the sensor's type"
	case reading.NoAnswer:
		return "look at power, wires and the name of the device"
	case reading.Garbled:
		return "the answer is not understood; look for interference, and whether it is the right device"
	case reading.Storm:
		return "pulses faster than drops can fall; look for contact bounce and interference, raise debounce"
	case reading.Lost:
		return "drops are missing from the count"
	default:
		return "the device reports a fault, or may not be read by this user"
	}
}
