package recording

import (
	"context"
	"math"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// maxSilence is the longest stretch without any row that counts as watched; a
// longer one is a gap (see the recording format).
const maxSilence = 60 * time.Second

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
	routes  map[reading.Point][]reading.Point
	drops   map[reading.Point]time.Duration // last reading of each wanted drop point, of the recording
}

func newPlayer(ctx context.Context, emit func(reading.Reading), s *Source) *player {
	p := &player{
		ctx: ctx, emit: emit, clock: s.clock, speed: s.cfg.Speed, start: s.clock(),
		routes: make(map[reading.Point][]reading.Point),
		drops:  make(map[reading.Point]time.Duration),
	}
	for _, r := range s.routes {
		p.routes[r.Recorded] = append(p.routes[r.Recorded], r.As)
		if r.Recorded.Kind == reading.Drip {
			p.drops[r.Recorded] = 0
		}
	}
	return p
}

// play waits for the row's time and emits it; false means that ctx ended.
func (p *player) play(row reading.Reading) bool {
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
	return p.deliver(row)
}

// owed finds the drop point that has been silent longest and when its next
// zero is due; if none is before row, row's time.
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

// deliver waits for a reading's time and emits it wherever it is routed to.
func (p *player) deliver(r reading.Reading) bool {
	routes := p.routes[r.Point]
	if len(routes) == 0 {
		return p.ctx.Err() == nil
	}
	elapsed := r.At - p.first
	if !p.waitUntil(float64(elapsed) / p.speed) {
		return false
	}
	if r.Point.Kind == reading.Drip {
		p.drops[r.Point] = r.At
	}
	r.At = p.start + elapsed
	for _, r.Point = range routes {
		p.emit(r)
	}
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
