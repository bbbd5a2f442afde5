package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"weepd/rules/reading"
)

const historyFile = "history.db"

// A stretch is some readings or minutes or hours of one series in one blob.
// Its id is the wall time of its start in ns, moved on by some ns where taken:
// rows that are written together lie together, which is what an SD card wants.
var historySchema = []string{`
CREATE TABLE meta(name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID, STRICT;
CREATE TABLE series(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE reading(id INTEGER PRIMARY KEY, series INTEGER NOT NULL, offset_ns INTEGER NOT NULL, data BLOB NOT NULL) STRICT;
CREATE TABLE minute(id INTEGER PRIMARY KEY, series INTEGER NOT NULL, offset_ns INTEGER NOT NULL, data BLOB NOT NULL) STRICT;
CREATE TABLE hour(id INTEGER PRIMARY KEY, series INTEGER NOT NULL, offset_ns INTEGER NOT NULL, data BLOB NOT NULL) STRICT`, `
ALTER TABLE reading ADD COLUMN life INTEGER NOT NULL DEFAULT 0`,
}

// The tables of stretches.
const (
	tableReading = "reading"
	tableMinute  = "minute"
	tableHour    = "hour"
)

// The rows of history's meta.
const (
	metaClean  = "clean"  // 1: closed properly
	metaFolded = "folded" // days since 1970 up to which minutes are one stretch a day
	metaLife   = "life"   // counts how often the file was opened and written
)

const (
	longestReadings = time.Hour // of one stretch of readings
	day             = 24 * time.Hour

	// maxBuffered bounds the readings in memory while flushing fails: the
	// oldest are dropped and counted. 24 bytes each.
	maxBuffered = 200_000
	maxMinutes  = 2 * 24 * 60 // of one series
)

type history struct {
	mu       sync.Mutex // guards all below
	db       *database
	series   map[string]int64
	readings map[reading.Point][]value
	minutes  map[string][]aggregate // complete and current minutes, not flushed
	buffered int
	dropped  uint64
	clean    bool // metaClean is set in the file
	life     int64
	noted    bool // the file knows of this life
}

// AddReadings puts readings into the history as they were fed to the core, in
// order of time; they are kept without loss. They are on the disk after the
// next Flush.
func (s *Store) AddReadings(list ...reading.Reading) {
	h := s.history
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, r := range list {
		h.readings[r.Point] = append(h.readings[r.Point], value{r.At, r.Value, r.Quality})
	}
	if h.buffered += len(list); h.buffered > maxBuffered {
		h.shed()
	}
}

// shed drops the older half of what is buffered.
func (h *history) shed() {
	h.buffered = 0
	for p, list := range h.readings {
		half := (len(list) + 1) / 2
		h.dropped += uint64(half)
		h.readings[p] = slices.Clone(list[half:])
		h.buffered += len(list) - half
	}
}

// Buffered gives the number of readings that wait for Flush, and of those (and
// minutes) dropped because flushing failed for too long.
func (s *Store) Buffered() (waiting int, dropped uint64) {
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	return s.history.buffered, s.history.dropped
}

// Observe adds a value of a series, e.g. `p1-de.dpm`, to its wall-clock
// minute's least, mean and most. Only what is known belongs here: NaN and
// infinities are left out.
func (s *Store) Observe(series string, wall time.Time, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	h := s.history
	h.mu.Lock()
	defer h.mu.Unlock()
	one := aggregate{index: indexOf(wall.UnixNano(), time.Minute), n: 1, min: v, mean: v, max: v}
	list := h.minutes[series]
	if last := len(list) - 1; last >= 0 && list[last].index == one.index {
		list[last] = list[last].with(one)
		return
	}
	if len(list) >= maxMinutes {
		h.dropped += maxMinutes / 2
		list = slices.Clone(list[maxMinutes/2:])
	}
	h.minutes[series] = append(list, one)
}

func indexOf(ns int64, period time.Duration) int64 {
	i := ns / int64(period)
	if ns%int64(period) < 0 {
		i--
	}
	return i
}

// Flush writes what was added since the last one, in one transaction, and
// keeps to the store's bound. The minute that now lies in stays in memory.
// now also tells how the clocks relate, so call Flush when the wall clock
// jumps, before adding what comes after. What fails to be written stays in
// memory and is tried again with the next Flush. A damaged file is set aside
// and begun anew: look at Aside.
func (s *Store) Flush(ctx context.Context, now Stamp) error {
	return s.flush(ctx, now, indexOf(now.Wall.UnixNano(), time.Minute))
}

// FlushAll also writes the minute that is not over: for a proper stop.
func (s *Store) FlushAll(ctx context.Context, now Stamp) error {
	return s.flush(ctx, now, math.MaxInt64)
}

func (s *Store) flush(ctx context.Context, now Stamp, open int64) error {
	h := s.history
	h.mu.Lock()
	defer h.mu.Unlock()
	err := h.flush(ctx, now.offset(), open)
	if errors.Is(err, ErrCorrupt) {
		if err = s.replaceHistory(ctx, err); err == nil {
			err = h.flush(ctx, now.offset(), open)
		}
	}
	if err != nil {
		return fmt.Errorf("flush to %s: %w", historyFile, err)
	}
	return s.keepBound(ctx)
}

func (h *history) flush(ctx context.Context, offset, open int64) error {
	closed := h.closedMinutes(open)
	if h.buffered == 0 && len(closed) == 0 {
		return nil
	}
	stretches := h.readingStretches(offset)
	for name, list := range closed {
		stretches = append(stretches, minuteStretches(name, list)...)
	}
	slices.SortFunc(stretches, func(a, b stretch) int {
		return cmp.Or(cmp.Compare(a.start, b.start), cmp.Compare(a.series, b.series))
	})
	known := maps.Clone(h.series)
	err := h.db.write(ctx, func(tx *txn) error {
		if h.clean {
			if err := tx.setMeta(ctx, metaClean, 0); err != nil {
				return err
			}
		}
		if !h.noted {
			if err := tx.setMeta(ctx, metaLife, h.life); err != nil {
				return err
			}
		}
		return tx.putStretches(ctx, known, stretches)
	})
	if err != nil {
		return err
	}
	h.series, h.clean, h.noted, h.buffered = known, false, true, 0
	clear(h.readings)
	for name, list := range closed {
		if h.minutes[name] = slices.Clone(h.minutes[name][len(list):]); len(h.minutes[name]) == 0 {
			delete(h.minutes, name)
		}
	}
	return nil
}

// closedMinutes gives each series' minutes up to the first that is still open.
func (h *history) closedMinutes(open int64) map[string][]aggregate {
	closed := make(map[string][]aggregate)
	for name, list := range h.minutes {
		if last := len(list) - 1; list[last].index == open {
			list = list[:last]
		}
		if len(list) > 0 {
			closed[name] = list
		}
	}
	return closed
}
