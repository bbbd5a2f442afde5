package modbus

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source reads the units of one connection.
type Source struct {
	cfg   Config
	dial  dial
	clock sensors.Clock
	*sensors.Notebook

	units    []*unit
	speakers []speaker
	counters []drops
}

// New checks cfg; the devices themselves may come and go later.
func New(cfg Config, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	return newSource(cfg, cfg.dial, clock)
}

func newSource(cfg Config, dial dial, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(); err != nil {
		return nil, err
	}
	s := &Source{
		cfg: cfg, dial: dial, clock: clock, units: unitsOf(cfg.Registers),
		speakers: make([]speaker, len(cfg.Registers)), counters: make([]drops, len(cfg.Registers)),
	}
	for i, r := range cfg.Registers {
		s.counters[i].bits = uint(16 * r.Number.width())
	}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points are those of the registers, in the configured order.
func (s *Source) Points() []reading.Point {
	points := make([]reading.Point, len(s.cfg.Registers))
	for i, r := range s.cfg.Registers {
		points[i] = r.Point
	}
	return points
}

// String names the connection.
func (s *Source) String() string { return "modbus " + s.cfg.name() }

// Run polls each unit at once and then every cfg.Every until ctx ends. It never
// fails: what can be wrong is a quality, see the package's documentation.
//
// A connection that is being made takes up to 5 s to be given up; the goroutine
// that makes it may outlive Run so long, and then ends by itself.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	conn := &connection{cfg: s.cfg, dial: s.dial, blocks: make(map[uint8][]block)}
	now := s.clock()
	for _, u := range s.units {
		conn.blocks[u.id] = plan(s.cfg.Registers, u.id, s.cfg.MaxGap)
		u.due = now
	}
	var asked atomic.Uint32 // the unit's address
	b := sensors.StartBounded(func() (answer, error) {
		var a answer
		if ctx.Err() == nil {
			a = conn.poll(uint8(asked.Load()))
		}
		if ctx.Err() != nil { // the last call, or it came back late
			conn.close()
		}
		return a, nil
	})
	defer s.finish(b)
	for ctx.Err() == nil {
		u := next(s.units)
		s.rest(ctx, u.due, emit)
		if ctx.Err() != nil {
			return nil
		}
		asked.Store(uint32(u.id))
		a, err := b.Ask(ctx, s.patience(u))
		if ctx.Err() != nil {
			return nil
		}
		s.take(u, a, err, emit)
	}
	return nil
}

// finish lets the goroutine close its connection, unless it hangs, and ends it.
func (s *Source) finish(b *sensors.Bounded[answer]) {
	last, cancel := context.WithTimeout(context.Background(), finishPatience)
	defer cancel()
	_, _ = b.Ask(last, finishPatience)
	b.Stop()
}

const finishPatience = 200 * time.Millisecond

// patience is how long a poll may take: connecting, and a request a register at
// the worst. A request that is too slow ends it long before.
func (s *Source) patience(u *unit) time.Duration {
	return min(time.Duration(2+len(u.members))*s.cfg.Timeout+time.Second, longestPatience)
}

const longestPatience = 8 * time.Second

// rest waits until due, and repeats meanwhile what is bad.
func (s *Source) rest(ctx context.Context, due time.Duration, emit func(reading.Reading)) {
	for {
		now := s.clock()
		for i := range s.speakers {
			if r, ok := s.speakers[i].again(now); ok {
				emit(r)
			}
		}
		if now >= due || ctx.Err() != nil {
			return
		}
		sensors.Pause(ctx, min(due-now, time.Second))
	}
}

func (s *Source) take(u *unit, a answer, err error, emit func(reading.Reading)) {
	now := s.clock()
	if err != nil { // the call hangs
		f := bad(reading.NoAnswer, "", fmt.Sprintf("no answer within %s: the connection hangs", s.patience(u)))
		u.failed(now, s.cfg.Every)
		s.tell(u, now, func(int) sensors.Finding { return f }, emit)
		return
	}
	if a.silent {
		u.failed(now, s.cfg.Every)
	} else {
		u.answered(now, s.cfg.Every)
	}
	s.tell(u, now, func(i int) sensors.Finding { return s.finding(i, now, a.items[i]) }, emit)
	if !a.disconnected {
		return
	}
	cause := *a.items[u.members[0]].failed
	for _, other := range s.units {
		if other != u {
			other.wait, other.due = u.wait, u.due
			s.tell(other, now, func(int) sensors.Finding { return cause }, emit)
		}
	}
}

func (s *Source) tell(u *unit, now time.Duration, finding func(i int) sensors.Finding, emit func(reading.Reading)) {
	for _, i := range u.members {
		r := s.Enter(now, s.cfg.Registers[i].Point, finding(i))
		if s.speakers[i].says(r) {
			emit(r)
		}
	}
}

// finding makes a value of what came of a register.
func (s *Source) finding(i int, now time.Duration, it item) sensors.Finding {
	r := s.cfg.Registers[i]
	switch {
	case it.failed != nil:
		return *it.failed
	case r.Table.bits():
		return r.decodeBit(it.bit)
	case r.Point.Kind == reading.Drip:
		_, bits, err := r.number(it.bytes)
		if err != nil {
			return bad(reading.Garbled, "", err.Error())
		}
		return s.counters[i].take(now, uint64(bits))
	default:
		return r.decode(it.bytes)
	}
}
