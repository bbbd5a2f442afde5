package sensors

import (
	"context"
	"errors"
	"os"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"
)

// A call that hangs is given up, again and again, and what it brings in the
// end is never taken for an answer to a later question.
func TestBoundedDropsOldAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var calls atomic.Int32
		b := StartBounded(func() (int32, error) {
			n := calls.Add(1)
			if n == 1 {
				time.Sleep(time.Minute)
			}
			return n, nil
		})
		defer b.Stop()
		for range 10 {
			if v, err := b.Ask(t.Context(), 5*time.Second); !errors.Is(err, os.ErrDeadlineExceeded) || calls.Load() != 1 {
				t.Fatalf("Ask = %d, %v after %d calls", v, err, calls.Load())
			}
		}
		time.Sleep(11 * time.Second)
		if v, err := b.Ask(t.Context(), 5*time.Second); v != 2 || err != nil {
			t.Errorf("Ask = %d, %v; want the second call's 2", v, err)
		}
	})
}

func TestBoundedStopsAtOnceOrWithinBound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		b := StartBounded(func() (int, error) { time.Sleep(time.Hour); return 0, nil })
		time.AfterFunc(time.Second, cancel)
		begun := time.Now()
		if _, err := b.Ask(ctx, time.Minute); !errors.Is(err, context.Canceled) {
			t.Errorf("Ask = %v", err)
		}
		b.Stop()
		if took := time.Since(begun); took != time.Second+stopPatience {
			t.Errorf("stopped after %s", took)
		}
		time.Sleep(2 * time.Hour) // the call ends
	})
}

func TestBoundedPassesErrorsOn(t *testing.T) {
	broken := errors.New("broken")
	b := StartBounded(func() (int, error) { return 0, broken })
	defer b.Stop()
	if _, err := b.Ask(t.Context(), time.Minute); !errors.Is(err, broken) {
		t.Errorf("Ask = %v", err)
	}
}

// Hundreds of calls that wait for their next turn keep no goroutine, and with it
// no stack.
func TestBoundedKeepsNoGoroutineBetweenCalls(t *testing.T) {
	before := goleak.IgnoreCurrent()
	b := StartBounded(func() (int, error) { return 1, nil })
	defer b.Stop()
	for range 3 {
		if v, err := b.Ask(t.Context(), time.Minute); v != 1 || err != nil {
			t.Fatalf("Ask = %d, %v", v, err)
		}
	}
	if err := goleak.Find(before); err != nil {
		t.Error(err)
	}
}
