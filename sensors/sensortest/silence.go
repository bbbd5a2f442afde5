package sensortest

import (
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// between lists when readings of p that ok accepts arrived in [from, to).
func (w *watch) between(p reading.Point, from, to time.Duration, ok func(reading.Quality) bool) []time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	var times []time.Duration
	for _, a := range w.got {
		if a.r.Point == p && a.at >= from && a.at < to && ok(a.r.Quality) {
			times = append(times, a.at)
		}
	}
	return times
}

// longest gives the longest stretch of [from, to] without one of times.
func longest(times []time.Duration, from, to time.Duration) time.Duration {
	gap := time.Duration(0)
	for _, at := range append(times, to) {
		gap = max(gap, at-from)
		from = at
	}
	return gap
}

// checkSilences: while the device works a drop source speaks at least every
// WatchEvery, any other as often as its case says.
func (w *watch) checkSilences(from, to time.Duration) {
	if w.c.Ends {
		to = w.lastArrival()
	}
	for _, p := range w.points {
		most := w.c.Every
		if isDrip(p) && (most == 0 || most > sensors.WatchEvery) {
			most = sensors.WatchEvery
		}
		if most == 0 {
			continue
		}
		if gap := longest(w.between(p, from, to, reading.Quality.OK), from, to); gap > most {
			w.fault("%s is silent for %s while its device works, want %s at most", p, gap, most)
		}
	}
}

func (w *watch) lastArrival() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.got) == 0 {
		return w.clock()
	}
	return w.got[len(w.got)-1].at
}

// checkBad: a fault is a bad reading, repeated while it lasts, and Run goes on.
func (w *watch) checkBad(from, to time.Duration) {
	most := w.c.Every
	if most == 0 {
		most = sensors.WatchEvery
	}
	for _, p := range w.points {
		if gap := longest(w.between(p, from, to, isBad), from, to); gap > most {
			w.fault("%s gives no bad reading for %s while its device is broken, want %s at most", p, gap, most)
		}
		if good := w.between(p, from, to, reading.Quality.OK); len(good) > 0 {
			w.fault("%s gives good readings while its device is broken", p)
		}
	}
	if w.returned() {
		w.fault("Run returned when its device broke")
	}
}

// checkGood: nothing bad is left once the device works.
func (w *watch) checkGood(from, to time.Duration) {
	for _, p := range w.points {
		if bad := w.between(p, from, to, isBad); len(bad) > 0 {
			w.fault("%s gives bad readings while its device works", p)
		}
		if good := w.between(p, from, to, reading.Quality.OK); len(good) == 0 {
			w.fault("%s gives no good reading while its device works", p)
		}
	}
}

func isBad(q reading.Quality) bool { return !q.OK() }
