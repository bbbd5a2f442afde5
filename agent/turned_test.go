package agent

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// hangingJournal hangs as a device does that the kernel waits for.
type hangingJournal struct {
	*MemoryJournal
	hangs atomic.Bool
	over  chan struct{}
}

func (j *hangingJournal) Retry(ctx context.Context) {
	if j.hangs.Load() {
		<-j.over
	}
	j.MemoryJournal.Retry(ctx)
}

// The watchdog is fed by the turns of the loop: none while it hangs.
func TestHungLoopDoesNotTurn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var turns atomic.Int64
		journal := &hangingJournal{MemoryJournal: NewMemoryJournal(10, true), over: make(chan struct{})}
		b := start(t, nil, journal, drips, func(o *Options) { o.Turned = func() { turns.Add(1) } })
		time.Sleep(10 * time.Second)
		if n := turns.Load(); n < 10 {
			t.Errorf("%d turns in 10 s, want one a second at the least", n)
		}
		journal.hangs.Store(true)
		time.Sleep(2 * time.Second)
		before := turns.Load()
		time.Sleep(time.Minute) // readings go on coming
		if n := turns.Load() - before; n != 0 {
			t.Errorf("%d turns while the loop hangs", n)
		}
		journal.hangs.Store(false)
		close(journal.over)
		time.Sleep(10 * time.Second)
		if n := turns.Load() - before; n < 10 {
			t.Errorf("%d turns in the 10 s afterwards", n)
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}

// One source opens, one cannot be opened, one hangs: all have been tried when
// the one that hangs is given up for now.
func TestOpenedWaitsForEverySourceButNotForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		over := make(chan struct{})
		b := start(t, nil, nil, func(c *Clock) []Feed {
			return append(drips(c),
				Feed{Name: "broken", Points: []reading.Point{tempA}, Open: func() (sensors.Source, error) { return nil, context.DeadlineExceeded }},
				Feed{Name: "hanging", Points: []reading.Point{tempA}, Open: func() (sensors.Source, error) {
					<-over
					return nil, context.Canceled
				}})
		})
		opened := func() bool {
			select {
			case <-b.agent.Opened():
				return true
			default:
				return false
			}
		}
		time.Sleep(openWithin - time.Second)
		if opened() {
			t.Error("opened while a source is being opened")
		}
		time.Sleep(2 * time.Second)
		if !opened() {
			t.Errorf("not opened though the time for it, %s, is over", openWithin)
		}
		close(over)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}
