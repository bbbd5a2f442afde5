package agent

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// Readings come out in order of time, equal times in order of arrival, and none
// before its time.
func TestReorderIsAStableSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b reorder
		var naive []reading.Reading
		number := 0.0
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			for range rapid.IntRange(0, 20).Draw(t, "pushes") {
				r := reading.Reading{At: time.Duration(rapid.IntRange(0, 30).Draw(t, "at")), Value: number}
				number++
				b.push(r)
				naive = append(naive, r)
			}
			slices.SortStableFunc(naive, func(a, b reading.Reading) int { return int(a.At - b.At) })
			until := time.Duration(rapid.IntRange(0, 30).Draw(t, "until"))
			for r, ok := b.pop(until); ok; r, ok = b.pop(until) {
				if len(naive) == 0 || r != naive[0] || r.At > until {
					t.Fatalf("up to %d came %v, left are %v", until, r, naive)
				}
				naive = naive[1:]
			}
			if at, ok := b.earliest(); ok != (len(naive) > 0) || ok && (at != naive[0].At || at <= until) {
				t.Fatalf("earliest is %d %v, left are %v", at, ok, naive)
			}
		}
	})
}
