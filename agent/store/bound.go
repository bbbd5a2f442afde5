package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// walBytes is what both write-ahead logs may take besides the bound pages.
const walBytes = 2 << 20

// Usage tells how much of the disk the store takes.
type Usage struct {
	Bytes   int64 // pages in use in both files
	Files   int64 // size of all files of the store
	Bound   int64 // Options.MaxBytes
	Damaged int64 // of them in files set aside
}

// Files gives the size of all files of the store, without waiting for a write.
func (s *Store) Files() (total int64, err error) {
	paths, err := filepath.Glob(s.path("*"))
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && !info.IsDir() {
			total += info.Size()
		}
	}
	return total, err
}

// Usage measures the store.
func (s *Store) Usage(ctx context.Context) (Usage, error) {
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	return s.usage(ctx)
}

func (s *Store) usage(ctx context.Context) (u Usage, err error) {
	u.Bound = s.bound.Load()
	for _, d := range []*database{s.journal.database, s.history.db} {
		used, _, err := d.used(ctx)
		if err != nil {
			return u, err
		}
		u.Bytes += used
	}
	paths, err := filepath.Glob(s.path("*"))
	if err != nil {
		return u, err
	}
	damaged, err := s.damaged()
	if err != nil {
		return u, err
	}
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && !info.IsDir() {
			u.Files += info.Size()
			if slices.Contains(damaged, path) {
				u.Damaged += info.Size()
			}
		}
	}
	return u, nil
}

func (s *Store) damaged() ([]string, error) { return filepath.Glob(s.path("*.damaged-*")) }

// Maintain keeps to the retention times and to the bound: readings older than
// Options.Readings go, minutes older than Options.Minutes become hours, hours
// older than Options.Hours go, and yesterday's minutes become one stretch.
// Call it once an hour or so. It stops between days when ctx ends.
func (s *Store) Maintain(ctx context.Context, now Stamp) error {
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	h, wall := s.history, now.Wall.UnixNano()
	err := errors.Join(
		h.deleteBefore(ctx, tableReading, wall-int64(s.opts.Readings)),
		h.deleteBefore(ctx, tableHour, wall-int64(s.opts.Hours)),
		h.thin(ctx, wall-int64(s.opts.Minutes)),
		h.foldDays(ctx, indexOf(wall, day)),
		s.journal.forgetReplies(ctx, s.opts.Replies),
	)
	if err != nil {
		return fmt.Errorf("maintain the store: %w", err)
	}
	return s.keepBound(ctx)
}

func (h *history) deleteBefore(ctx context.Context, table string, before int64) error {
	return h.db.write(ctx, func(tx *txn) error {
		return tx.exec(ctx, "DELETE FROM "+table+" WHERE id<?", before)
	})
}

func (j *journal) forgetReplies(ctx context.Context, keep int) error {
	return j.write(ctx, func(tx *txn) error {
		return tx.exec(ctx, "DELETE FROM reply WHERE n<=(SELECT max(n) FROM reply)-?", keep)
	})
}

// thin makes hours of every whole day of minutes before the given time.
func (h *history) thin(ctx context.Context, before int64) error {
	for {
		first, found, err := h.firstDay(ctx, tableMinute, 0)
		if err != nil || !found || (first+1)*int64(day) > before {
			return err
		}
		if err := h.fold(ctx, first, tableHour, time.Hour, nothing); err != nil {
			return err
		}
	}
}

// foldDays makes one stretch a series of each whole day's minutes, so that a
// long time is read in few rows. It looks at each day once.
func (h *history) foldDays(ctx context.Context, today int64) error {
	folded, err := h.db.meta(ctx, metaFolded)
	if err != nil {
		return err
	}
	for {
		d, found, err := h.firstDay(ctx, tableMinute, folded+1)
		if err != nil || !found || d >= today {
			return err
		}
		err = h.fold(ctx, d, tableMinute, time.Minute, func(tx *txn) error { return tx.setMeta(ctx, metaFolded, d) })
		if err != nil {
			return err
		}
		folded = d
	}
}

// firstDay gives the first day since 1970 that has stretches, from a day on.
func (h *history) firstDay(ctx context.Context, table string, from int64) (d int64, found bool, err error) {
	var id sql.NullInt64
	err = h.db.QueryRowContext(ctx, "SELECT min(id) FROM "+table+" WHERE id>=?", from*int64(day)).Scan(&id)
	return indexOf(id.Int64, day), id.Valid, typed(err)
}

// fold rewrites one day of minutes as one stretch a series of the period, in
// one transaction with what else there is to note.
func (h *history) fold(ctx context.Context, d int64, into string, period time.Duration, note func(*txn) error) error {
	from, to := d*int64(day), (d+1)*int64(day)
	stretches, err := h.db.stretchesOf(ctx, tableMinute, 0, from, to)
	if err != nil {
		return err
	}
	bySeries := make(map[string]*buckets)
	for _, st := range stretches {
		list, err := decodeAggregates(st.data)
		if err != nil {
			return err
		}
		if bySeries[st.series] == nil {
			bySeries[st.series] = &buckets{from: from, to: to, step: period, byIndex: make(map[int64]aggregate)}
		}
		bySeries[st.series].add(list, time.Minute)
	}
	var out []stretch
	for _, name := range slices.Sorted(maps.Keys(bySeries)) {
		out = append(out, aggregateStretches(into, name, bySeries[name].list(), period)...)
	}
	known := maps.Clone(h.series)
	return h.db.write(ctx, func(tx *txn) error {
		if err := tx.exec(ctx, "DELETE FROM minute WHERE id>=? AND id<?", from, to); err != nil {
			return err
		}
		return errors.Join(tx.putStretches(ctx, known, out), note(tx))
	})
}

func nothing(*txn) error { return nil }

// list gives the buckets with the index of their own step.
func (b *buckets) list() []aggregate {
	var out []aggregate
	for _, i := range slices.Sorted(maps.Keys(b.byIndex)) {
		a := b.byIndex[i]
		a.index = i
		out = append(out, a)
	}
	return out
}

// sacrificeRows is how many rows are given up between two looks at the size.
const sacrificeRows = 200

// keepBound gives up what the package comment says, in that order, until the
// store is a twentieth below its bound.
func (s *Store) keepBound(ctx context.Context) error {
	u, err := s.usage(ctx)
	if err != nil || u.Bytes+u.Damaged+walBytes <= u.Bound {
		return err
	}
	if err := s.removeDamaged(); err != nil {
		return err
	}
	target := (u.Bound - walBytes) * 19 / 20
	for _, give := range []func(context.Context) (bool, error){
		s.history.giveReadings, s.history.giveMinutes, s.history.giveHours, s.journal.giveDelivered,
	} {
		for more := true; more; {
			u, err := s.usage(ctx)
			if err != nil || u.Bytes <= target {
				return errors.Join(err, s.shrink(ctx))
			}
			if more, err = give(ctx); err != nil {
				return fmt.Errorf("keep the store below %d bytes: %w", u.Bound, err)
			}
		}
	}
	return s.shrink(ctx)
}

func (s *Store) removeDamaged() error {
	paths, err := s.damaged()
	errs := []error{err}
	for _, path := range paths {
		errs = append(errs, os.Remove(path))
	}
	return typed(errors.Join(errs...))
}

// shrink gives free pages back where a file is larger than the bound; else
// they are used again and a rewrite would only wear the card.
func (s *Store) shrink(ctx context.Context) error {
	for _, d := range []*database{s.journal.database, s.history.db} {
		_, file, err := d.used(ctx)
		if err == nil && file > s.bound.Load()/2 {
			err = d.vacuum(ctx)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (h *history) giveReadings(ctx context.Context) (more bool, err error) {
	return h.db.giveOldest(ctx, tableReading, "id", "")
}

func (h *history) giveHours(ctx context.Context) (more bool, err error) {
	return h.db.giveOldest(ctx, tableHour, "id", "")
}

// giveMinutes thins the oldest day before its time.
func (h *history) giveMinutes(ctx context.Context) (more bool, err error) {
	first, found, err := h.firstDay(ctx, tableMinute, 0)
	if err != nil || !found {
		return false, err
	}
	return true, h.fold(ctx, first, tableHour, time.Hour, nothing)
}

// giveDelivered never takes the newest event, which carries the numbering on.
func (j *journal) giveDelivered(ctx context.Context) (more bool, err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.giveOldest(ctx, "event", "seq", fmt.Sprintf(" WHERE seq<=%d", min(j.delivered, j.last-1)))
}

func (d *database) giveOldest(ctx context.Context, table, key, where string) (more bool, err error) {
	var n int64
	row := d.QueryRowContext(ctx, "SELECT count(*) FROM (SELECT 1 FROM "+table+where+" LIMIT 1)")
	if err := row.Scan(&n); err != nil || n == 0 {
		return false, typed(err)
	}
	return true, d.write(ctx, func(tx *txn) error {
		return tx.exec(ctx, fmt.Sprintf("DELETE FROM %s WHERE %s IN (SELECT %s FROM %s%s ORDER BY %s LIMIT %d)",
			table, key, key, table, where, key, sacrificeRows))
	})
}
