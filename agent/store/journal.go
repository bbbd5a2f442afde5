package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
)

const journalFile = "journal.db"

var journalSchema = []string{`
CREATE TABLE meta(name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID, STRICT;
CREATE TABLE event(seq INTEGER PRIMARY KEY, wall_ns INTEGER NOT NULL, steady_ns INTEGER NOT NULL,
	kind TEXT NOT NULL, payload BLOB NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE TABLE state(key TEXT PRIMARY KEY, wall_ns INTEGER NOT NULL, steady_ns INTEGER NOT NULL,
	payload BLOB NOT NULL, crc INTEGER NOT NULL) WITHOUT ROWID, STRICT;
CREATE TABLE upkeep(id INTEGER PRIMARY KEY, gland TEXT NOT NULL, wall_ns INTEGER NOT NULL, steady_ns INTEGER NOT NULL,
	payload BLOB NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX upkeep_gland ON upkeep(gland, id);
CREATE TABLE reply(n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, wall_ns INTEGER NOT NULL, steady_ns INTEGER NOT NULL,
	payload BLOB NOT NULL, crc INTEGER NOT NULL) STRICT`,
}

// Event is one entry of the journal. Seq rises by one for the life of the
// station; Commit gives it where it is 0. A caller that numbers events itself,
// as one that gave them out while nothing could be stored, gives every event
// of a batch its seq, each above the last; gaps before them are noted.
type Event struct {
	Seq int64
	Stamp
	Kind    string
	Payload []byte
}

// State is what is kept of one alarm under its key.
type State struct {
	Key string
	Stamp
	Payload []byte // nil in a batch: forget the key
}

// Upkeep is one entry of the upkeep log.
type Upkeep struct {
	ID    int64 // given by Commit
	Event int64 // seq of its event, not stored; if that event is there already, so is this entry
	Gland string
	Stamp
	Payload []byte
}

// Reply is the answer to a command that is done, by the command's id.
type Reply struct {
	ID string
	Stamp
	Payload []byte
}

// Batch is what belongs together: all of it becomes durable, or nothing.
type Batch struct {
	Events  []Event // each is also put in the outbox
	States  []State
	Upkeep  []Upkeep
	Replies []Reply
}

// The rows of meta.
const (
	metaBase      = "base"      // numbering began after this seq
	metaDelivered = "delivered" // everything up to this seq was delivered
)

type journal struct {
	*database
	seqFile  string
	noOutbox bool

	mu        sync.Mutex // orders commits and guards what follows
	base      int64      // numbering began after this seq
	last      int64      // newest seq
	delivered int64
	pending   int64 // undelivered events
	reserved  int64 // seqs up to this one are noted in the side file
	unsure    bool  // a commit failed: last must be read again
}

// Commit writes a batch in one transaction and gives the seqs of its events.
// When it returns without error the batch survives a power cut. After an
// error nothing of it is there, but for an error of the disk during the final
// sync, where it may be; repeating the batch then may store it twice, under
// new seqs, unless its events have their seqs: what is there already is then
// left out. Errors of the disk are typed: ErrFull, ErrReadOnly, ErrIO.
func (s *Store) Commit(ctx context.Context, b Batch) ([]int64, error) {
	j := s.journal
	j.mu.Lock()
	defer j.mu.Unlock()
	seqs, err := j.commit(ctx, b)
	if err != nil {
		j.unsure = true
		return nil, fmt.Errorf("store a batch of %d events in %s: %w", len(b.Events), journalFile, s.sharper(err))
	}
	return seqs, nil
}

func (j *journal) commit(ctx context.Context, b Batch) ([]int64, error) {
	if err := j.sure(ctx); err != nil {
		return nil, err
	}
	fresh, seqs := j.numbered(b.Events)
	newest := j.last
	if len(fresh) > 0 {
		newest = fresh[len(fresh)-1].Seq
	}
	if err := j.reserve(newest); err != nil {
		return nil, err
	}
	before := j.last
	gap := len(fresh) > 0 && fresh[0].Seq > before+1
	err := j.write(ctx, func(tx *txn) error {
		if gap {
			if err := tx.setMeta(ctx, metaBase, fresh[0].Seq-1); err != nil {
				return err
			}
		}
		for _, e := range fresh {
			if err := tx.putEvent(ctx, e); err != nil {
				return err
			}
		}
		return errors.Join(tx.putStates(ctx, b.States), tx.putUpkeep(ctx, b.Upkeep, before), tx.putReplies(ctx, b.Replies))
	})
	if err != nil {
		return nil, err
	}
	if gap {
		j.base = fresh[0].Seq - 1
	}
	j.last = newest
	j.pending += int64(len(fresh))
	if j.noOutbox {
		j.delivered, j.pending = j.last, 0
	}
	return seqs, nil
}

// numbered gives the events that are not there yet, with their seqs, and the
// seqs of all.
func (j *journal) numbered(events []Event) (fresh []Event, seqs []int64) {
	next := j.last + 1
	for _, e := range events {
		if e.Seq == 0 {
			e.Seq = next
		}
		seqs = append(seqs, e.Seq)
		if e.Seq < next {
			continue
		}
		fresh = append(fresh, e)
		next = e.Seq + 1
	}
	return fresh, seqs
}

// sure reads the newest seq again after a commit of unknown outcome.
func (j *journal) sure(ctx context.Context) error {
	if !j.unsure {
		return nil
	}
	if err := j.readNumbers(ctx); err != nil {
		return err
	}
	j.unsure = false
	return nil
}

func (j *journal) readNumbers(ctx context.Context) (err error) {
	if j.base, err = j.meta(ctx, metaBase); err != nil {
		return err
	}
	if j.delivered, err = j.meta(ctx, metaDelivered); err != nil {
		return err
	}
	var last sql.NullInt64
	if err := j.QueryRowContext(ctx, "SELECT max(seq) FROM event").Scan(&last); err != nil {
		return typed(err)
	}
	j.last = max(j.base, last.Int64)
	if j.noOutbox {
		j.delivered = j.last
	}
	j.pending, err = j.count(ctx, j.delivered, j.last)
	return err
}

// count gives the number of events after one seq and up to another.
func (j *journal) count(ctx context.Context, after, upto int64) (n int64, err error) {
	err = j.QueryRowContext(ctx, "SELECT count(*) FROM event WHERE seq>? AND seq<=?", after, upto).Scan(&n)
	return n, typed(err)
}

func (d *database) meta(ctx context.Context, name string) (int64, error) {
	var value int64
	err := d.QueryRowContext(ctx, "SELECT value FROM meta WHERE name=?", name).Scan(&value)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return value, typed(err)
}

func (t *txn) setMeta(ctx context.Context, name string, value int64) error {
	return t.exec(ctx, "INSERT OR REPLACE INTO meta VALUES(?,?)", name, value)
}

func (j *journal) newestStamp(ctx context.Context) (Stamp, bool, error) {
	var wall, steady int64
	err := j.QueryRowContext(ctx, "SELECT wall_ns, steady_ns FROM event ORDER BY seq DESC LIMIT 1").Scan(&wall, &steady)
	if errors.Is(err, sql.ErrNoRows) {
		return Stamp{}, false, nil
	}
	return stampOf(wall, steady), err == nil, typed(err)
}

// LastSeq gives the seq of the newest event, 0 before the first.
func (s *Store) LastSeq() int64 {
	s.journal.mu.Lock()
	defer s.journal.mu.Unlock()
	return s.journal.last
}

func (s *Store) path(name string) string { return filepath.Join(s.dir, name) }
