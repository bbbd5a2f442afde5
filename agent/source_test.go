package agent

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

func TestFailingSourceIsRestartedWithGrowingWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var opened []time.Duration
		b := start(t, nil, nil, func(c *Clock) []Feed {
			return []Feed{{Name: "probe", Points: []reading.Point{dripA}, Open: func() (sensors.Source, error) {
				opened = append(opened, c.Steady())
				if len(opened) < 8 {
					return nil, errors.New("open probe: no such device")
				}
				return scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
					return steadyDrips(ctx, c, emit)
				}}, nil
			}}}
		})
		time.Sleep(5 * time.Minute)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		checkWaits(t, opened)
		if n := b.log.count("source failed"); n != 1 {
			t.Errorf("%d log lines for one failure, want 1", n)
		}
		if n := b.log.count("source answers again"); n != 1 {
			t.Errorf("%d log lines for one recovery, want 1", n)
		}
		if b.core.noAnswers(dripA) < 8 {
			t.Error("the points of a failing source must count as not answering")
		}
		if len(b.core.values(dripA)) < 100 {
			t.Error("the source did not come back")
		}
	})
}

func checkWaits(t *testing.T, opened []time.Duration) {
	t.Helper()
	if len(opened) != 8 {
		t.Fatalf("opened %d times, want 8", len(opened))
	}
	wait := retryFirst
	for i := 1; i < len(opened); i++ {
		if got := opened[i] - opened[i-1]; got < wait/2 || got > wait+time.Millisecond {
			t.Errorf("wait %d was %s, want %s to %s", i, got, wait/2, wait)
		}
		wait = min(2*wait, retryMost)
	}
}

func TestEndedAndSilentSourcesCountAsNotAnswering(t *testing.T) {
	ends := func(_ context.Context, _ func(reading.Reading)) error { return nil }
	hangs := func(ctx context.Context, _ func(reading.Reading)) error { <-ctx.Done(); return nil }
	for name, run := range map[string]func(context.Context, func(reading.Reading)) error{"ends": ends, "hangs": hangs} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := start(t, nil, nil, func(*Clock) []Feed {
					return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, run})}
				})
				time.Sleep(2 * time.Minute)
				if err := b.stop(); err != nil {
					t.Fatal(err)
				}
				if n := b.core.noAnswers(dripA); n < 4 {
					t.Errorf("%d readings of NoAnswer in two minutes, want at least 4", n)
				}
			})
		})
	}
}
