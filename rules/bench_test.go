package rules

import (
	"fmt"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"weepd/rules/reading"
)

// quietStation has glands of default limits with all that they can hold.
func quietStation(tb testing.TB, glands int) (*Station, []string) {
	tb.Helper()
	var cfg Config
	var ids []string
	for i := range glands {
		id := fmt.Sprintf("p%d", i)
		ids = append(ids, id)
		cfg.Glands = append(cfg.Glands, GlandConfig{
			ID: id, NormalDPM: 30,
			Limits: Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
			Fitted: Fitted{true, true, true, true},
		})
	}
	s, err := NewStation(cfg)
	if err != nil {
		tb.Fatal(err)
	}
	return s, ids
}

// dripIntervals are those of a regular drip at 30 a minute.
func dripIntervals(n int) []time.Duration {
	draw := distuv.Gamma{Alpha: 4, Beta: 4 * 0.5, Src: rand.New(rand.NewPCG(5, 5))}
	intervals := make([]time.Duration, n)
	for i := range intervals {
		intervals[i] = time.Duration(draw.Rand() * 1e9)
	}
	return intervals
}

func mustFeed(tb testing.TB, s *Station, r reading.Reading) {
	if _, err := s.Feed(r); err != nil {
		tb.Fatal(err)
	}
}

// One drop through the whole core: at most 200 ns and no allocation are wanted.
func BenchmarkFeedDrop(b *testing.B) {
	s, ids := quietStation(b, 1)
	intervals := dripIntervals(1 << 16)
	at := 1_750_000_000 * time.Second
	for _, kind := range []reading.Kind{reading.Run, reading.Temp, reading.Ref} {
		mustFeed(b, s, reading.Reading{At: at, Point: reading.Point{Gland: ids[0], Kind: kind}, Value: 20})
	}
	point := reading.Point{Gland: ids[0], Kind: reading.Drip}
	feed := func(i int) {
		at += intervals[i&(len(intervals)-1)]
		mustFeed(b, s, reading.Reading{At: at, Point: point, Value: 1})
	}
	for i := range intervals { // has learned
		feed(i)
	}
	b.ReportAllocs()
	b.ResetTimer()
	before := processorTime(b)
	for i := range b.N {
		feed(i)
	}
	b.ReportMetric(float64(processorTime(b)-before)/float64(b.N), "cpu-ns/op")
}

// A row of a year without alarms: drops, and temperatures each ten seconds.
func BenchmarkFeedRows(b *testing.B) {
	s, _ := quietStation(b, 1)
	const start = 1_750_000_000 * time.Second
	var rows []reading.Row
	put := func(at time.Duration, kind reading.Kind, value float64) {
		rows = append(rows, reading.Row{At: at, Value: value, Point: uint16(kind), Kind: kind})
	}
	at, warm := start, start
	for i, interval := range dripIntervals(1 << 16) {
		at += interval.Truncate(time.Millisecond)
		for ; at > warm; warm += 10 * time.Second {
			put(warm, reading.Temp, 30+float64(i%3)/16)
			put(warm, reading.Ref, 20+float64(i%2)/16)
		}
		put(at, reading.Drip, 1)
	}
	places := make([]int, reading.Kinds)
	feed := func() {
		for i := 0; i < len(rows); i += 512 {
			s.FeedRows(rows[i:min(i+512, len(rows))], places)
		}
		for i := range rows {
			rows[i].At += at - start
		}
	}
	feed() // has learned
	b.ReportAllocs()
	b.ResetTimer()
	before := processorTime(b)
	for range b.N {
		feed()
	}
	b.ReportMetric(float64(processorTime(b)-before)/float64(b.N*len(rows)), "cpu-ns/row")
}

// processorTime is what this process has used, which neighbours on a shared
// machine do not disturb as they do the clock.
func processorTime(tb testing.TB) time.Duration {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
