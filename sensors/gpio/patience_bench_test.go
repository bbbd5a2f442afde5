package gpio

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weepd/rules/reading"
	"weepd/sensors"
)

// BenchmarkBeat is what pins cost each time they are asked: a real read each, of a
// descriptor that has nothing.
func BenchmarkBeat(b *testing.B) {
	for _, pins := range []int{1, 8, 32} {
		b.Run(fmt.Sprintf("%d pins", pins), func(b *testing.B) { benchmarkBeat(b, pins) })
	}
}

func benchmarkBeat(b *testing.B, pins int) {
	ctx, cancel := context.WithCancel(b.Context())
	began := time.Now()
	clock := func() time.Duration { return time.Since(began) }
	var all sync.WaitGroup
	var asked []*sensors.Patience
	for i := range pins {
		fd, err := unix.Eventfd(0, unix.EFD_NONBLOCK|unix.EFD_CLOEXEC)
		if err != nil {
			b.Fatal(err)
		}
		l, err := hold(fd, "nothing", 0)
		if err != nil {
			b.Fatal(err)
		}
		l.checked = 1 << 60 // it is no line
		s := newSource(Config{Pin: fmt.Sprint(i)}.withDefaults(), "a", func(use) (line, error) { return l, nil }, clock)
		p := sensors.NewPatience(true)
		s.Heed(p)
		asked = append(asked, p)
		all.Go(func() { _ = s.Run(ctx, func(reading.Reading) {}) })
	}
	time.Sleep(10 * time.Millisecond)
	var left sync.WaitGroup
	for b.Loop() {
		for _, p := range asked {
			left.Add(1)
			for !p.Ask(left.Done) {
				time.Sleep(time.Microsecond)
			}
		}
		left.Wait()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*pins), "ns/pin")
	cancel()
	all.Wait()
}
