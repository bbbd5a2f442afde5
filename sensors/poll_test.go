package sensors

import (
	"context"
	"errors"
	"os"
	"testing"
	"testing/synctest"
	"time"
)

func TestPollAsksInStepAndGivesUpWhatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 35*time.Second)
		defer cancel()
		began, freed := time.Now(), make(chan struct{})
		time.AfterFunc(25*time.Second, func() { close(freed) })
		calls := 0
		var at []time.Duration
		var late int
		Poll(ctx, func() time.Duration { return time.Since(began) }, 10*time.Second, 2*time.Second, func() (int, error) {
			if calls++; calls == 2 {
				<-freed
			}
			return calls, nil
		}, func(_ int, err error) {
			at = append(at, time.Since(began))
			if errors.Is(err, os.ErrDeadlineExceeded) {
				late++
			}
		})
		// The call of 10 s hangs until 25 s, so that of 20 s is not made.
		want := []time.Duration{0, 12 * time.Second, 22 * time.Second, 30 * time.Second}
		if len(at) != len(want) || late != 2 || calls != 3 {
			t.Fatalf("answers at %v, %d late, %d calls", at, late, calls)
		}
		for i := range want {
			if at[i] != want[i] {
				t.Errorf("answer %d at %s, want %s", i, at[i], want[i])
			}
		}
	})
}

func TestPauseEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		began := time.Now()
		Pause(ctx, time.Hour)
		if took := time.Since(began); took != time.Second {
			t.Errorf("a pause took %s, want 1s", took)
		}
	})
}
