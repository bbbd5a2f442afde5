package agent

import (
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// While all is calm, and the drop sensors can wait, the loop turns on a beat: each
// second it asks the sources for what came since, and takes all of it in order of
// time. A processor that is woken for each drop does little else. As soon as anything
// is in the air, everything works at once again. What comes to be known is the same
// either way, as drops have their own times; it is known a second later at the most.

const (
	// longestPatience is how long readings may lie while all is calm.
	longestPatience = time.Second
	// underWay is how long a drop may be on its way through the kernel to where it
	// can be asked for: on a beat the core's time stays so much behind.
	underWay = 2 * time.Millisecond
	// askWithin is how long a source may take to hand over. One that takes longer is
	// waited for no more until it has.
	askWithin = 100 * time.Millisecond
)

// arrivals are the readings that wake the loop.
func (l *loop) arrivals() <-chan reading.Reading {
	if l.resting {
		return nil
	}
	return l.agent.queue.readings
}

// gather takes what came, and has the sources hand over what they keep. It gives
// the time up to which nothing is missing.
func (l *loop) gather() time.Duration {
	now := l.agent.clock.Steady()
	if !l.resting {
		l.drain(turnMost)
		l.upTo = max(now, l.upTo)
		return l.upTo
	}
	l.collect()
	l.drain(queueSize)
	l.upTo = max(now-underWay, l.upTo)
	return l.upTo
}

func (l *loop) collect() {
	done := l.agent.calm.ask()
	if done == nil {
		return
	}
	if l.overdue == nil { // one for all beats
		l.overdue = time.NewTimer(never)
	}
	l.overdue.Reset(askWithin)
	defer l.overdue.Stop()
	for {
		select {
		case r := <-l.agent.queue.readings: // the queue may be shorter than what they have
			l.accept(r)
		case <-done:
			return
		case <-l.overdue.C:
			l.agent.log.Warn("a source does not hand over what it has; no more waiting for it until it does")
			return
		}
	}
}

// since is the time from which on a reading that comes now can be.
func (l *loop) since(now time.Duration) time.Duration {
	if l.resting {
		return min(now, l.upTo)
	}
	return now
}

// settleRest settles whether readings may lie until the next beat.
func (l *loop) settleRest(now time.Duration) {
	if l.resting || now-l.looked >= l.second {
		l.looked = now
		if may := !l.urgent && l.mayRest(now); may != l.resting {
			l.resting = may
			l.agent.calm.setRest(may)
		}
	}
	l.urgent = false
}

// mayRest reports that nothing is in the air, nothing happens by the passing of time
// before the beat after the next, and every drop sensor can wait.
func (l *loop) mayRest(now time.Duration) bool {
	if l.patience == 0 || l.behind || l.agent.clock.Speed != 1 || len(l.batch.Alarms) > 0 {
		return false
	}
	soon := now + 2*l.patience
	if until, calm := l.core.Calm(); !calm || until < soon {
		return false
	}
	if at, ok := l.book.Next(); ok && at < soon {
		return false
	}
	if at, ok := l.settlesNext(); ok && at < soon {
		return false
	}
	return l.agent.calm.speaksFor(l.heard)
}

// Timer wakes the loop on the beat; see time.Timer.
type Timer interface {
	C() <-chan time.Time
	Reset(d time.Duration)
	Stop()
}

// timers wake the loop when nothing else does.
type timers struct {
	turn *time.Timer
	beat Timer
}

func (l *loop) newTimers() timers {
	t := timers{turn: time.NewTimer(0)}
	if l.agent.newTimer != nil {
		own, err := l.agent.newTimer()
		if err == nil {
			t.beat = own
			return t
		}
		l.agent.log.Warn("the beat has the runtime's timer instead, and wakes the processor more often", "error", err)
	}
	t.beat = runtimeTimer{time.NewTimer(never)}
	return t
}

// set has the loop turn again in time.
func (t timers) set(l *loop, now time.Duration) {
	if l.resting {
		t.turn.Stop()
		t.beat.Reset(sensors.UntilGrid(l.agent.clock.Steady(), l.patience)) // the grid of polled sensors
		return
	}
	t.turn.Reset(l.agent.clock.real(l.wake(now) - now))
}

func (t timers) stop() {
	t.turn.Stop()
	t.beat.Stop()
}

// runtimeTimer is a Timer of the Go runtime's.
type runtimeTimer struct{ *time.Timer }

// C is the timer's channel.
func (t runtimeTimer) C() <-chan time.Time { return t.Timer.C }

// Reset is the timer's.
func (t runtimeTimer) Reset(d time.Duration) { t.Timer.Reset(d) }

// Stop is the timer's.
func (t runtimeTimer) Stop() { t.Timer.Stop() }
