package agent

import (
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// The history holds all that the core is told: readings as they were fed, and
// marks for the rest. So a replay of it says what the agent said.

// keep puts a row into the history.
func (l *loop) keep(r reading.Reading) {
	l.row = r.At
	if l.history != nil {
		l.history.Add(r)
	}
}

// before makes ready for a row. The first of all, which a source may bring from
// the past, is preceded by marks that nothing is known of before; a loop that
// stood still for long says up to when it had watched.
func (l *loop) before(at time.Duration) {
	switch {
	case l.fed == 0:
		l.fed = at - time.Duration(len(l.glands)) - 1
		for _, g := range l.glands {
			l.beginGland(g.Rules.ID)
		}
	case at-l.row > rules.MaxSilence:
		l.markWatch(l.fed)
	}
}

func (l *loop) beginGland(id string) {
	l.fed++
	l.beganAt[id] = l.fed
	l.keep(reading.Reading{At: l.fed, Point: reading.Point{Gland: id, Kind: reading.Watch}, Value: 1})
}

// advance lets time pass in the core. What comes of it has a row, and so has
// every half of the longest silence that counts as watched.
func (l *loop) advance(now time.Duration) []rules.Transition {
	l.before(now)
	out := l.core.Advance(now)
	l.fed = max(l.fed, now)
	if len(out) > 0 || l.fed-l.row >= rules.MaxSilence/2 {
		l.markWatch(l.fed)
	}
	return out
}

// markWatch says that the station was watched up to a time at which no point
// had anything to say.
func (l *loop) markWatch(at time.Duration) {
	if at <= l.row || len(l.glands) == 0 {
		return
	}
	l.keep(reading.Reading{At: at, Point: reading.Point{Gland: l.glands[0].Rules.ID, Kind: reading.Watch}})
}

// present brings the core to a moment of its own for something that people do,
// and gives it.
func (l *loop) present(now time.Duration) time.Duration {
	if l.fed == 0 || !l.behind { // else at the core's own present
		for _, t := range l.advance(now) {
			l.judge(t)
		}
	}
	l.fed++
	for _, t := range l.core.Advance(l.fed) {
		l.judge(t)
	}
	return l.fed
}

// repacked begins a gland's run-in, or goes on with one that began so long before
// the core's present.
func (l *loop) repacked(gland string, ago time.Duration) error {
	if err := l.core.RunIn(gland, l.fed-ago); err != nil {
		return err
	}
	l.keep(reading.Reading{At: l.fed, Point: reading.Point{Gland: gland, Kind: reading.Repacked}, Value: ago.Seconds()})
	return nil
}

// adjusted notes that the nuts were turned at the core's present.
func (l *loop) adjusted(gland string, flats float64) {
	l.keep(reading.Reading{At: l.fed, Point: reading.Point{Gland: gland, Kind: reading.Adjusted}, Value: flats})
}
