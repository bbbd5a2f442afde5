package agent

import (
	"context"
	"fmt"
	"runtime"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// A station of a thousand glands has thousands of sources: each costs the goroutine
// that it runs in, and nothing that waits beside it.
func TestSourceCostsOneGoroutine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const many = 200
		hangs := func(ctx context.Context, _ func(reading.Reading)) error { //nolint:unparam // as Run is
			<-ctx.Done()
			return nil
		}
		before := runtime.NumGoroutine()
		b := start(t, nil, nil, func(*Clock) (feeds []Feed) {
			for i := range many {
				points := []reading.Point{{Gland: fmt.Sprintf("g%d", i), Kind: reading.Temp}}
				feeds = append(feeds, Feed{Name: "probe", Points: points, Open: func() (sensors.Source, error) { return scripted{points, hangs}, nil }})
			}
			return feeds
		})
		time.Sleep(10 * time.Second)
		synctest.Wait()
		const others = 20 // the agent's own
		if got := runtime.NumGoroutine() - before; got < many || got > many+others {
			t.Errorf("%d goroutines for %d sources", got, many)
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}
