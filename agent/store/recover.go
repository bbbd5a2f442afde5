package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// openJournal opens journal.db, or sets a damaged one aside, saves what can
// be read out of it and goes on in a new one.
func (s *Store) openJournal(ctx context.Context) (*journal, error) {
	reserved, err := readNumber(s.path(seqName))
	if err != nil {
		return nil, fmt.Errorf("read sequence file: %w", typed(err))
	}
	_, err = os.Stat(s.path(journalFile))
	missing := errors.Is(err, fs.ErrNotExist)
	j, err := s.tryJournal(ctx, reserved)
	switch {
	case errors.Is(err, ErrCorrupt):
		j, err = s.newJournal(ctx, reserved, err)
	case err == nil && s.opts.Newest == 0 && (missing && reserved > 0 || j.last+2*reserveBlock < reserved):
		// The file was deleted, or an old copy was put back.
		err = j.goOnAfter(ctx, reserved)
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", journalFile, err)
	}
	return j, err
}

// goOnAfter sees to it that no seq is used twice.
func (j *journal) goOnAfter(ctx context.Context, base int64) error {
	if err := j.write(ctx, func(tx *txn) error { return tx.setMeta(ctx, metaBase, base) }); err != nil {
		return err
	}
	return j.readNumbers(ctx)
}

func (s *Store) newJournal(ctx context.Context, reserved int64, cause error) (*journal, error) {
	kept, err := s.setAside(journalFile)
	if err != nil {
		return nil, errors.Join(cause, err)
	}
	saved := s.salvage(ctx, kept)
	// Without any number left, the clock gives one that is surely higher than
	// a station's count of events: a seq used twice would hide an alarm.
	base := max(reserved, saved.lastSeq)
	if s.opts.Newest > 0 { // the caller knows better than what was reserved
		base = max(s.opts.Newest, saved.lastSeq)
	} else if reserved == 0 {
		base = max(base, s.opts.Now().Unix())
	}
	j, err := s.tryJournal(ctx, base)
	if err != nil {
		return j, err
	}
	count, err := j.refill(ctx, base, saved)
	s.noteAside(SetAside{File: journalFile, Kept: kept, Cause: cause, Saved: count, GoesOn: base})
	return j, err
}

func (s *Store) tryJournal(ctx context.Context, reserved int64) (*journal, error) {
	db, err := openDatabase(s.path(journalFile), modeOften, s.opts.Fault)
	if err != nil {
		return nil, err
	}
	j := &journal{database: db, seqFile: s.path(seqName), noOutbox: s.opts.NoOutbox, reserved: reserved}
	if err := j.prepare(ctx); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return j, nil
}

func (j *journal) prepare(ctx context.Context) error {
	if err := j.migrate(ctx, journalSchema); err != nil {
		return err
	}
	if err := j.check(ctx); err != nil {
		return err
	}
	if err := j.readNumbers(ctx); err != nil {
		return err
	}
	return j.verify(ctx)
}

// verify looks at the check sum of all that is still to be used, and that no
// undelivered event is missing. Up to base there may be gaps.
func (j *journal) verify(ctx context.Context) error {
	if _, err := j.states(ctx, "", -1); err != nil {
		return err
	}
	for before := j.delivered; ; {
		events, err := j.events(ctx, before, 1000)
		if err != nil || len(events) == 0 {
			return err
		}
		for _, e := range events {
			if before >= j.base && e.Seq != before+1 {
				return fmt.Errorf("%w: undelivered events between %d and %d are missing", ErrCorrupt, before, e.Seq)
			}
			before = e.Seq
		}
	}
}

// setAside renames a damaged file and what belongs to it. One damaged file of
// a kind is kept: the newest.
func (s *Store) setAside(name string) (string, error) {
	old, err := filepath.Glob(s.path(name) + ".damaged-*")
	if err != nil {
		return "", err
	}
	kept := name + ".damaged-" + s.opts.Now().UTC().Format("20060102T150405Z")
	for _, suffix := range []string{"", "-wal", "-journal"} {
		if err := os.Rename(s.path(name+suffix), s.path(kept+suffix)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", typed(err)
		}
	}
	var errs []error
	for _, path := range old {
		if !strings.HasPrefix(path, s.path(kept)) {
			errs = append(errs, os.Remove(path))
		}
	}
	return kept, typed(errors.Join(errs...))
}

// salvaged is what could be read out of a damaged journal.
type salvaged struct {
	lastSeq int64
	pending []Event
	states  []State
	upkeep  []Upkeep
}

// salvage reads what it can; whatever it cannot read stays in the file set
// aside. Rows with a wrong check sum are left out.
func (s *Store) salvage(ctx context.Context, name string) salvaged {
	var out salvaged
	db, err := openDatabase(s.path(name), modeOften, s.opts.Fault)
	if err != nil {
		return out
	}
	j := &journal{database: db, noOutbox: s.opts.NoOutbox}
	if err := j.readNumbers(ctx); err == nil {
		out.lastSeq = j.last
		out.pending = oneByOne(j.delivered, func(after int64) ([]Event, error) { return j.events(ctx, after, 1) },
			func(e Event) int64 { return e.Seq })
	}
	out.states = oneByOne("", func(after string) ([]State, error) { return j.states(ctx, after, 1) },
		func(st State) string { return st.Key })
	out.upkeep = oneByOne(0, func(after int64) ([]Upkeep, error) { return j.upkeepLog(ctx, "", after, 1) },
		func(u Upkeep) int64 { return u.ID })
	_ = db.Close() // nothing was written
	return out
}

// oneByOne reads on past rows that cannot be believed, until reading fails.
func oneByOne[T any, K cmp.Ordered](after K, read func(after K) ([]T, error), id func(T) K) []T {
	var good []T
	for {
		rows, err := read(after)
		if len(rows) == 0 {
			return good
		}
		if next := id(rows[0]); next > after {
			after = next
		} else {
			return good
		}
		if err == nil {
			good = append(good, rows[0])
		}
	}
}

// refill puts what was saved into the new journal. Events keep their seq.
func (j *journal) refill(ctx context.Context, base int64, saved salvaged) (int, error) {
	delivered := base
	if len(saved.pending) > 0 {
		delivered = saved.pending[0].Seq - 1
	}
	err := j.write(ctx, func(tx *txn) error {
		for _, e := range saved.pending {
			if err := tx.putEvent(ctx, e); err != nil {
				return err
			}
		}
		return errors.Join(tx.setMeta(ctx, metaBase, base), tx.setMeta(ctx, metaDelivered, delivered),
			tx.putStates(ctx, saved.states), tx.putUpkeep(ctx, saved.upkeep, 0))
	})
	if err != nil {
		return 0, err
	}
	return len(saved.pending) + len(saved.states) + len(saved.upkeep), j.readNumbers(ctx)
}
