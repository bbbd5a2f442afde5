package sensortest

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// waiting is a patient source that keeps the contract, except where a test bends it.
type waiting struct {
	*fake
	patience *sensors.Patience
	kept     []reading.Reading
	work     func(w *waiting, ctx context.Context, emit func(reading.Reading))
}

func (w *waiting) Heed(p *sensors.Patience) { w.patience = p }

func (w *waiting) Run(ctx context.Context, emit func(reading.Reading)) error {
	w.runs.Add(1)
	for ctx.Err() == nil {
		w.work(w, ctx, emit)
	}
	return nil
}

func handOver(w *waiting, ctx context.Context, emit func(reading.Reading)) {
	if !w.patience.Asked(ctx) {
		wait(ctx, time.Second)
	}
	w.round(w.fake, emit)
}

func waitingCase(work func(*waiting, context.Context, func(reading.Reading))) Case {
	return Case{New: func(_ testing.TB, clock sensors.Clock) (sensors.Source, Device) {
		w := &waiting{fake: newFake(clock), work: work}
		return w, w
	}}
}

func TestAPatientSourceConforms(t *testing.T) {
	Conform(t, waitingCase(handOver))
}

func TestBreachesOfPatienceAreFound(t *testing.T) {
	for want, work := range map[string]func(*waiting, context.Context, func(reading.Reading)){
		"emits though it keeps readings back": func(w *waiting, ctx context.Context, emit func(reading.Reading)) {
			time.AfterFunc(300*time.Millisecond, func() {
				if ctx.Err() == nil {
					w.round(w.fake, emit)
				}
			})
			handOver(w, ctx, emit)
		},
		"to hand over what it was asked for, want": func(w *waiting, ctx context.Context, emit func(reading.Reading)) {
			handOver(w, ctx, emit)
			wait(ctx, 200*time.Millisecond)
		},
		"does not hand over": func(w *waiting, ctx context.Context, emit func(reading.Reading)) {
			handOver(w, ctx, emit)
			<-ctx.Done()
		},
		"was there when it was asked": func(w *waiting, ctx context.Context, emit func(reading.Reading)) {
			kept := w.kept
			w.kept = []reading.Reading{{At: w.clock(), Point: drip, Value: 1}}
			w.patience.Asked(ctx)
			for _, r := range kept {
				emit(r)
			}
		},
	} {
		t.Run(want, func(t *testing.T) {
			c := waitingCase(work)
			c.For, c.asked = 2*time.Minute, true
			synctest.Test(t, func(t *testing.T) {
				faults := checkWatch(t, c)
				time.Sleep(time.Hour)
				if all := strings.Join(faults, "\n"); !strings.Contains(all, want) {
					t.Errorf("the suite says\n%s\nwant %q", all, want)
				}
			})
		})
	}
}
