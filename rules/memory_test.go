package rules

import (
	"runtime"
	"testing"
	"time"

	"weepd/rules/reading"
)

// What a gland holds once it has learned, apart from what a station's glands
// share and from its upkeep, which has a bound of its own (package upkeep): at
// most 4 KiB of heap are wanted.
func TestGlandFitsInFourKiB(t *testing.T) {
	const most = 4096
	few, many := 20, 220
	each := (learnedHeap(t, many) - learnedHeap(t, few)) / int64(many-few)
	t.Logf("%d bytes a gland", each)
	if each > most {
		t.Errorf("a gland holds %d bytes, at most %d are wanted", each, most)
	}
}

// learnedHeap is what a station holds whose glands have learned, bytes.
func learnedHeap(t *testing.T, glands int) int64 {
	t.Helper()
	before := heapInUse()
	s, ids := quietStation(t, glands)
	intervals := dripIntervals(600) // four blocks of pairs: the shape is learned
	at := 1_750_000_000 * time.Second
	feed := func(kind reading.Kind, value float64) {
		for _, id := range ids {
			mustFeed(t, s, reading.Reading{At: at, Point: reading.Point{Gland: id, Kind: kind}, Value: value})
		}
	}
	feed(reading.Run, 1)
	for i, interval := range intervals {
		at += interval
		if i%15 == 0 {
			feed(reading.Temp, 30)
			feed(reading.Ref, 20)
		}
		feed(reading.Drip, 1)
	}
	if s.byID[ids[0]].detect.Shape() == 1 {
		t.Fatal("the glands have not learned")
	}
	s.fresh = nil
	for _, g := range s.glands {
		g.care = nil
	}
	held := heapInUse() - before
	runtime.KeepAlive(s)
	return held
}

func heapInUse() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}
