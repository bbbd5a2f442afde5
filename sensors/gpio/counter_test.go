package gpio

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// Whatever the edges do, no second holds more than stormEdges drops; and edges
// that drops can make are each counted, storms apart.
func TestDropsAreBoundedAndNoneIsMissed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := newCounter(reading.Point{Gland: "a"}, 2*time.Millisecond, 0)
		var at time.Duration
		var drops []time.Duration
		for range rapid.IntRange(1, 20).Draw(t, "phases") {
			step := time.Duration(rapid.Int64Range(1e5, 2e9).Draw(t, "step"))
			for range rapid.IntRange(1, 300).Draw(t, "edges") {
				before := *c
				at += step
				for due := c.due(); due < at; due = c.due() {
					c.quiet(max(due, before.said))
				}
				storming := c.storming
				r, said := c.edge(at)
				if said && r.Quality.OK() && r.Value == 1 {
					drops = append(drops, at)
					continue
				}
				full := len(drops) >= stormEdges && at-drops[len(drops)-stormEdges] < stormWindow
				if !storming && !full && step >= stormWindow/quietEdges {
					t.Fatalf("edge at %s after %s is lost: %v", at, step, r)
				}
			}
		}
		for i := stormEdges; i < len(drops); i++ {
			if drops[i]-drops[i-stormEdges] < stormWindow {
				t.Fatalf("%d drops from %s to %s", stormEdges+1, drops[i-stormEdges], drops[i])
			}
		}
	})
}
