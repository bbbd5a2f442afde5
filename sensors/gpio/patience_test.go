package gpio

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// While nobody is in a hurry edges wait in the kernel: nothing is said before it is
// asked for, and then all of it with its own times. What waits at the end is said then.
func TestEdgesWaitInTheKernel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		h, c := oneLine()
		s := onHost(t, h, Config{Pin: "DRIP"}, func() time.Duration { return time.Since(begun) })
		p := sensors.NewPatience(true)
		s.Heed(p)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		var said []string
		go func() {
			done <- s.Run(ctx, func(r reading.Reading) { said = append(said, fmt.Sprintf("%s:%g %s", r.At, r.Value, r.Quality)) })
		}()
		ask := func() {
			t.Helper()
			served := false
			if !p.Ask(func() { served = true }) {
				t.Fatal("it does not wait to be asked")
			}
			if synctest.Wait(); !served {
				t.Fatal("it does not hand over")
			}
		}
		dropAfter := func(d time.Duration) {
			time.Sleep(d)
			c.drop()
			synctest.Wait()
		}
		dropAfter(100 * time.Millisecond)
		dropAfter(300 * time.Millisecond)
		wants(t, said, "")
		ask()
		wants(t, said, "100ms:1 good, 400ms:1 good")
		time.Sleep(10*time.Second - 400*time.Millisecond)
		ask() // it was watched
		p.Rest(false)
		dropAfter(time.Second) // and at once again
		wants(t, said, "100ms:1 good, 400ms:1 good, 10s:0 good, 11s:1 good")
		p.Rest(true)
		dropAfter(time.Second)
		dropAfter(time.Second)
		dropAfter(time.Second) // one that waited for edges still takes the next of them
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		wants(t, said, "100ms:1 good, 400ms:1 good, 10s:0 good, 11s:1 good, 12s:1 good, 13s:1 good, 14s:1 good")
	})
}

// However many edges come, none is lost as long as the kernel has room for them.
func TestAFloodWaitsInTheKernel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		h, c := oneLine()
		s := onHost(t, h, Config{Pin: "DRIP"}, func() time.Duration { return time.Since(begun) })
		p := sensors.NewPatience(true)
		s.Heed(p)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		drops := 0.0
		bad := make(map[reading.Quality]int)
		go func() {
			done <- s.Run(ctx, func(r reading.Reading) {
				if drops += r.Value; !r.Quality.OK() {
					bad[r.Quality]++
				}
			})
		}()
		flood := func(edges int) {
			for range edges {
				time.Sleep(time.Second / time.Duration(edges))
				c.drop()
			}
			synctest.Wait()
			p.Ask(func() {})
			synctest.Wait()
		}
		for range 5 {
			flood(200)
		}
		if drops != 1000 || len(bad) > 0 {
			t.Errorf("%g drops, %v bad, want 1000 and none", drops, bad)
		}
		flood(mostWaiting)
		if bad[reading.Storm] != 1 || len(bad) != 1 {
			t.Errorf("%v bad, want a storm", bad)
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
