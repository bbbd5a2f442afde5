package compare

import (
	"testing"
	"time"

	"weepd/rules/reading"
)

// watchedFor has a row every half minute.
func watchedFor(from, length time.Duration) []reading.Reading {
	var rows []reading.Reading
	for at := from; at <= from+length; at += 30 * time.Second {
		rows = append(rows, reading.Reading{At: at})
	}
	return rows
}

func TestWatchLeavesGapsOut(t *testing.T) {
	var w Watch
	for _, r := range append(watchedFor(0, time.Hour), watchedFor(2*time.Hour, time.Hour)...) {
		w.Row(r)
	}
	if w.Watched != 2*time.Hour || w.Last != 3*time.Hour {
		t.Errorf("watched %s, last %s", w.Watched, w.Last)
	}
}
