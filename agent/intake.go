package agent

import (
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

func (l *loop) drain(most int) {
	for range most {
		select {
		case r := <-l.agent.queue.readings:
			l.accept(r)
		default:
			return
		}
	}
}

func (l *loop) accept(r reading.Reading) {
	now := l.agent.clock.Steady()
	l.cameAt, l.behind = now, r.At < l.since(now)-l.second
	if r.At > now {
		if !l.ahead {
			l.ahead = true
			l.agent.log.Warn("a source stamps readings in the future; taken as of now",
				"point", r.Point.String(), "by", r.At-now)
		}
		r.At = now
	}
	l.buffer.push(r)
}

func (l *loop) feed(r reading.Reading) []rules.Transition {
	if !l.isGland(r.Point.Gland) { // it was on its way when its gland was taken out
		return nil
	}
	// One that another source's overtook is taken as of now; each has a time of
	// its own, so that a recording keeps their order.
	r.At = max(r.At, l.fed+1)
	l.before(r.At)
	l.fed = r.At
	out, err := l.core.Feed(r)
	if err != nil {
		l.agent.log.Error("reading refused", "point", r.Point.String(), "error", err)
		return nil
	}
	l.keep(r)
	g := &l.glands[l.byID[r.Point.Gland]]
	p := &g.Points[r.Point.Kind]
	if !r.Quality.OK() && (!p.Seen || p.Quality != r.Quality) {
		l.counted = true
		l.faults[FaultKey{r.Point, r.Quality}]++
		l.agent.log.Warn("sensor reading is bad", "point", r.Point.String(), "quality", r.Quality.String())
	} else if r.Quality.OK() && p.Seen && !p.Quality.OK() {
		l.agent.log.Info("sensor reading is good again", "point", r.Point.String())
	}
	*p = PointState{Seen: true, Quality: r.Quality, at: r.At}
	g.Moved = l.agent.clock.Wall(r.At)
	if _, drip := l.heard[r.Point]; drip {
		l.heard[r.Point] = max(l.heard[r.Point], r.At)
	}
	l.dirty = true
	return out
}

// notePast gives each minute of a source's past to the history, before a
// reading of the next.
func (l *loop) notePast(at time.Duration) {
	minute := at.Truncate(time.Minute)
	if !l.behind || l.history == nil || minute <= l.past {
		return
	}
	first := l.past == 0
	if l.past = minute; first {
		return
	}
	for i := range l.glands {
		if state, ok := l.core.Gland(l.glands[i].Rules.ID); ok {
			l.history.Past(l.agent.clock.Wall(minute-1), state)
		}
	}
}
