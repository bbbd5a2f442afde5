package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"weepd/rules/reading"
)

// stretch is one row of history.
type stretch struct {
	table  string
	series string
	start  int64 // wall, ns
	offset int64 // readings: wall minus steady, ns
	life   int64 // readings: which opening of the file wrote it
	data   []byte
}

// readingStretches packs the buffered readings: a new stretch for each point,
// after longestReadings, and where time goes back.
func (h *history) readingStretches(offset int64) []stretch {
	var out []stretch
	for point, list := range h.readings {
		for len(list) > 0 {
			n := 1
			for n < len(list) && list[n].at >= list[n-1].at && list[n].at-list[0].at < longestReadings {
				n++
			}
			out = append(out, stretch{tableReading, point.String(), int64(list[0].at) + offset, offset, h.life, encodeValues(list[:n])})
			list = list[n:]
		}
	}
	return out
}

// minuteStretches packs minutes: a new stretch for each day and where the
// wall clock went back.
func minuteStretches(series string, list []aggregate) []stretch {
	return aggregateStretches(tableMinute, series, list, time.Minute)
}

func aggregateStretches(table, series string, list []aggregate, period time.Duration) []stretch {
	var out []stretch
	for len(list) > 0 {
		start := list[0].index * int64(period)
		end := indexOf(start, day)*int64(day) + int64(day)
		n := 1
		for n < len(list) && list[n].index > list[n-1].index && list[n].index*int64(period) < end {
			n++
		}
		out = append(out, stretch{table, series, start, 0, 0, encodeAggregates(list[:n])})
		list = list[n:]
	}
	return out
}

func (t *txn) putStretches(ctx context.Context, known map[string]int64, list []stretch) error {
	for _, st := range list {
		series, err := t.seriesID(ctx, known, st.series)
		if err != nil {
			return err
		}
		id, err := t.freeID(ctx, st.table, st.start)
		if err != nil {
			return err
		}
		query, values := "INSERT INTO "+st.table+" VALUES(?,?,?,?)", []any{id, series, st.offset, st.data}
		if st.table == tableReading {
			query, values = "INSERT INTO reading VALUES(?,?,?,?,?)", append(values, st.life)
		}
		if err := t.exec(ctx, query, values...); err != nil {
			return err
		}
	}
	return nil
}

func (t *txn) seriesID(ctx context.Context, known map[string]int64, name string) (int64, error) {
	if id, found := known[name]; found {
		return id, nil
	}
	if err := t.exec(ctx, "INSERT OR IGNORE INTO series(name) VALUES(?)", name); err != nil {
		return 0, err
	}
	var id int64
	if err := t.QueryRowContext(ctx, "SELECT id FROM series WHERE name=?", name).Scan(&id); err != nil {
		return 0, typed(err)
	}
	known[name] = id
	return id, nil
}

// freeID gives the first free id from start on. Rows of one flush start
// together, so it looks for the last of the run at once.
func (t *txn) freeID(ctx context.Context, table string, start int64) (int64, error) {
	id := start
	for {
		var taken sql.NullInt64
		err := t.QueryRowContext(ctx, "SELECT max(id) FROM "+table+" WHERE id>=? AND id<?+1000", id, id).Scan(&taken)
		if err != nil {
			return 0, typed(err)
		}
		if !taken.Valid {
			return id, nil
		}
		id = taken.Int64 + 1
	}
}

// stretchesOf reads the rows of a table whose id is in [from, to), in order;
// series 0 is all of them.
func (d *database) stretchesOf(ctx context.Context, table string, series, from, to int64) ([]stretch, error) {
	rows, err := d.QueryContext(ctx, "SELECT t.id, s.name, t.offset_ns, t.data FROM "+table+
		" t JOIN series s ON s.id=t.series WHERE t.id>=? AND t.id<? AND (?=0 OR t.series=?) ORDER BY t.id",
		from, to, series, series)
	var out []stretch
	err = each(rows, err, func() error {
		st := stretch{table: table}
		if err := rows.Scan(&st.start, &st.series, &st.offset, &st.data); err != nil {
			return err
		}
		out = append(out, st)
		return nil
	})
	return out, err
}

// openHistory opens history.db, or sets a damaged one aside and begins anew.
func (s *Store) openHistory(ctx context.Context) (*history, error) {
	h := newHistory()
	err := h.open(ctx, s)
	if errors.Is(err, ErrCorrupt) {
		s.history = h
		err = s.replaceHistory(ctx, err)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", historyFile, err)
	}
	return h, nil
}

// replaceHistory goes on in a new file; what is buffered stays.
func (s *Store) replaceHistory(ctx context.Context, cause error) error {
	h := s.history
	if h.db != nil {
		cause = errors.Join(cause, h.db.Close())
	}
	kept, err := s.setAside(historyFile)
	if err != nil {
		return errors.Join(cause, err)
	}
	s.noteAside(SetAside{File: historyFile, Kept: kept, Cause: cause})
	return h.open(ctx, s)
}

func newHistory() *history {
	return &history{readings: make(map[reading.Point][]value), minutes: make(map[string][]aggregate)}
}

func (h *history) open(ctx context.Context, s *Store) error {
	db, err := openDatabase(s.path(historyFile), modeSeldom, s.opts.Fault)
	if err != nil {
		return err
	}
	h.db, h.series, h.noted = db, make(map[string]int64), false
	if err := h.prepare(ctx); err != nil {
		h.db = nil
		return errors.Join(err, db.Close())
	}
	return nil
}

// prepare looks through the file only if it was not closed properly: it may
// be large and the card slow.
func (h *history) prepare(ctx context.Context) error {
	if err := h.db.migrate(ctx, historySchema); err != nil {
		return err
	}
	clean, err := h.db.meta(ctx, metaClean)
	if err != nil {
		return err
	}
	if h.life, err = h.db.meta(ctx, metaLife); err != nil {
		return err
	}
	h.life++
	if h.clean = clean == 1; h.clean {
		return nil
	}
	return h.db.check(ctx)
}

func (h *history) close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.db == nil {
		return nil
	}
	var err error
	if !h.clean {
		err = h.db.write(context.Background(), func(tx *txn) error {
			return tx.setMeta(context.Background(), metaClean, 1)
		})
	}
	return errors.Join(err, h.db.Close())
}

// sortRecorded puts readings of several points into one order of time.
func sortRecorded(list []Recorded) {
	slices.SortStableFunc(list, func(a, b Recorded) int { return a.Wall.Compare(b.Wall) })
}
