package sensortest

import (
	"time"

	"weepd/sensors"
)

// servedWithin is how long a source may take to hand over what it was asked for.
const servedWithin = 100 * time.Millisecond

// ask asks the source each second until the run is cancelled. One that keeps its
// readings back hands all of them over when it is asked, and nothing before.
func (w *watch) ask() {
	for waits := w.pause(time.Second); waits; waits = w.pause(time.Second) {
		before := w.count()
		served := make(chan time.Duration, 1)
		asked := w.now()
		if !w.patience.Ask(func() { served <- w.now() }) {
			w.unasked() // it emits as things happen
			continue
		}
		select {
		case at := <-served:
			if at-asked > servedWithin {
				w.fault("takes %s to hand over what it was asked for, want %s", at-asked, servedWithin)
			}
		case <-w.ctx.Done():
			return
		case <-time.After(time.Minute):
			w.fault("does not hand over what it was asked for")
			return
		}
		w.checkKept(before, asked)
	}
}

// checkKept: what is emitted upon an ask is not from before the one before, and
// nothing came in between.
func (w *watch) checkKept(before int, asked time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.asks > 0 && before != w.handed {
		w.faultLocked("emits though it keeps readings back and was not asked")
	}
	for _, a := range w.got[before:] {
		if w.asks > 0 && a.r.At < w.askedAt {
			w.faultLocked("%v was there when it was asked %s before", a.r, asked-w.askedAt)
		}
	}
	w.asks++
	w.handed, w.askedAt = len(w.got), asked
}

func (w *watch) unasked() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asks = 0
}

func (w *watch) pause(d time.Duration) bool {
	sensors.Pause(w.ctx, d)
	return w.ctx.Err() == nil
}
