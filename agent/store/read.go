package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Events gives up to limit events after the seq, oldest first.
func (s *Store) Events(ctx context.Context, after int64, limit int) ([]Event, error) {
	return s.journal.events(ctx, after, limit)
}

func (j *journal) events(ctx context.Context, after int64, limit int) ([]Event, error) {
	return j.eventsBy(ctx, "WHERE seq>? ORDER BY seq LIMIT ?", after, limit)
}

func (j *journal) eventsBy(ctx context.Context, which string, args ...any) ([]Event, error) {
	rows, err := j.QueryContext(ctx, "SELECT seq, wall_ns, steady_ns, kind, payload, crc FROM event "+which, args...)
	var events []Event
	err = each(rows, err, func() error {
		var e Event
		var r row
		if err := rows.Scan(&e.Seq, &r.wall, &r.steady, &e.Kind, &e.Payload, &r.crc); err != nil {
			return err
		}
		e.Stamp = stampOf(r.wall, r.steady)
		events = append(events, e)
		return r.verify(sum(e.Seq, e.Kind, e.Stamp, e.Payload), "event", e.Seq)
	})
	return events, err
}

// States gives every stored state, in order of key.
func (s *Store) States(ctx context.Context) ([]State, error) {
	return s.journal.states(ctx, "", -1)
}

// states gives those after a key; a limit below 0 is none.
func (j *journal) states(ctx context.Context, after string, limit int) ([]State, error) {
	rows, err := j.QueryContext(ctx, "SELECT key, wall_ns, steady_ns, payload, crc FROM state "+
		"WHERE key>? ORDER BY key LIMIT ?", after, limit)
	var states []State
	err = each(rows, err, func() error {
		var st State
		var r row
		if err := rows.Scan(&st.Key, &r.wall, &r.steady, &st.Payload, &r.crc); err != nil {
			return err
		}
		st.Stamp = stampOf(r.wall, r.steady)
		states = append(states, st)
		return r.verify(sum(0, st.Key, st.Stamp, st.Payload), "state", st.Key)
	})
	return states, err
}

// UpkeepLog gives up to limit upkeep entries after the id, oldest first, of
// one gland or, with an empty gland, of all.
func (s *Store) UpkeepLog(ctx context.Context, gland string, after int64, limit int) ([]Upkeep, error) {
	return s.journal.upkeepLog(ctx, gland, after, limit)
}

func (j *journal) upkeepLog(ctx context.Context, gland string, after int64, limit int) ([]Upkeep, error) {
	query := "SELECT id, gland, wall_ns, steady_ns, payload, crc FROM upkeep WHERE "
	args := []any{after, limit}
	if gland != "" {
		query += "gland=? AND "
		args = append([]any{gland}, args...)
	}
	rows, err := j.QueryContext(ctx, query+"id>? ORDER BY id LIMIT ?", args...)
	var entries []Upkeep
	err = each(rows, err, func() error {
		var u Upkeep
		var r row
		if err := rows.Scan(&u.ID, &u.Gland, &r.wall, &r.steady, &u.Payload, &r.crc); err != nil {
			return err
		}
		u.Stamp = stampOf(r.wall, r.steady)
		entries = append(entries, u)
		return r.verify(sum(0, u.Gland, u.Stamp, u.Payload), "upkeep entry", u.ID)
	})
	return entries, err
}

// Done gives the reply of a command that was done before; false if the id is
// new or so old that it is forgotten (Options.Replies).
func (s *Store) Done(ctx context.Context, id string) (Reply, bool, error) {
	reply := Reply{ID: id}
	var r row
	err := s.journal.QueryRowContext(ctx, "SELECT wall_ns, steady_ns, payload, crc FROM reply WHERE id=?", id).
		Scan(&r.wall, &r.steady, &reply.Payload, &r.crc)
	if errors.Is(err, sql.ErrNoRows) {
		return Reply{}, false, nil
	}
	if err != nil {
		return Reply{}, false, typed(err)
	}
	reply.Stamp = stampOf(r.wall, r.steady)
	err = r.verify(sum(0, id, reply.Stamp, reply.Payload), "reply", id)
	return reply, err == nil, err
}

// row is what every row of the journal has.
type row struct{ wall, steady, crc int64 }

func (r row) verify(want int64, what string, which any) error {
	if r.crc != want {
		return fmt.Errorf("%w: the check sum of %s %v in %s is wrong", ErrCorrupt, what, which, journalFile)
	}
	return nil
}

// each scans all rows and closes them.
func each(rows *sql.Rows, err error, scan func() error) error {
	if err != nil {
		return typed(err)
	}
	for rows.Next() {
		if err := scan(); err != nil {
			return errors.Join(typed(err), rows.Close())
		}
	}
	return typed(errors.Join(rows.Err(), rows.Close()))
}
