// Package store keeps what must survive the agent: the event journal with its
// outbox, the alarms' states, the upkeep log and the history of readings.
//
// There are two SQLite files in one directory. journal.db is durable at once:
// when Commit returns, the batch survives a power cut. history.db is written
// in batches for the sake of SD cards: what was not flushed is lost with the
// process, so a power cut or a crash costs at most the time since the last
// Flush. Payloads are opaque bytes.
//
// The disk is bounded by Options.MaxBytes. What is given up first: readings
// (drops), then minutes, then hours, then delivered events from the oldest on.
// Undelivered events, alarm states and the upkeep log are never given up, even
// beyond the bound.
package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Stamp is an instant on both clocks.
type Stamp struct {
	Wall   time.Time     // as the wall clock said; may jump
	Steady time.Duration // as reading.Reading.At
}

// offset is what the wall clock is ahead of the steady one.
func (s Stamp) offset() int64 { return s.Wall.UnixNano() - int64(s.Steady) }

// Defaults of Options.
const (
	DefaultMaxBytes = 256 << 20
	DefaultReadings = 7 * 24 * time.Hour
	DefaultMinutes  = 90 * 24 * time.Hour
	DefaultHours    = 3 * 365 * 24 * time.Hour
	DefaultReplies  = 10_000
)

// Options of a store; the zero value is usable.
type Options struct {
	MaxBytes int64 // bound of both files together; at least MinBytes
	Readings time.Duration
	Minutes  time.Duration
	Hours    time.Duration
	Replies  int // how many done commands are remembered

	// NoOutbox: nobody fetches events (no broker is configured), so they
	// count as delivered at once.
	NoOutbox bool

	// Newest, when set, is the newest seq that the caller stored before, for
	// one that opens a store again: if the journal is lost, numbering goes on
	// after it and not after what was reserved.
	Newest int64

	// Fault, when set, is asked before every write and can make it fail; for
	// tests. The word says which write: see the Fault constants.
	Fault func(write string) error
	// Now is the wall clock that names files set aside; nil is time.Now.
	Now func() time.Time
}

// MinBytes is the least bound of a store.
const MinBytes = 4 << 20

// The words of the writes that Options.Fault is asked about.
const (
	FaultBegin   = "begin"   // a transaction begins
	FaultExec    = "exec"    // a row is written or deleted
	FaultCommit  = "commit"  // a transaction is about to be committed
	FaultReserve = "reserve" // the side file of sequence numbers
	FaultAlive   = "alive"   // the side file of the heartbeat
	FaultVacuum  = "vacuum"  // free pages go back to the file system
)

// Store is an open store, safe for concurrent use.
type Store struct {
	opts     Options
	bound    atomic.Int64 // MaxBytes in force
	dir      string
	journal  *journal
	history  *history
	alive    *aliveFile
	lastSeen Stamp
	seen     bool
	asideMu  sync.Mutex
	aside    []SetAside
	closing  sync.Once
	closeErr error
}

// SetAside tells of a damaged file that was renamed and begun anew.
type SetAside struct {
	File   string // the file's name, e.g. journal.db
	Kept   string // the name it has now
	Cause  error
	Saved  int   // undelivered events, states and upkeep entries read out of it
	GoesOn int64 // journal: the seq after which numbering goes on
}

// String says it in one sentence for the log.
func (s SetAside) String() string {
	// What ErrCorrupt says to do is done.
	cause := strings.TrimPrefix(fmt.Sprint(s.Cause), ErrCorrupt.Error()+": ")
	text := fmt.Sprintf("%s was damaged (%s) and set aside as %s; a new one is begun", s.File, strings.Join(strings.Fields(cause), " "), s.Kept)
	if s.File == journalFile {
		text += fmt.Sprintf(", %d entries were saved, numbering goes on after %d", s.Saved, s.GoesOn)
	}
	return text
}

// Open opens or makes the store in dir. A damaged file is set aside and begun
// anew: see SetAside. A directory that another agent uses, cannot be written,
// is full, or holds a newer version is an error: ErrBusy, ErrReadOnly,
// ErrFull, ErrNewer.
func Open(dir string, opts Options) (*Store, error) {
	opts, err := opts.withDefaults()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("open store %s: %w", dir, typed(err))
	}
	s := &Store{opts: opts, dir: dir}
	s.bound.Store(opts.MaxBytes)
	if err := s.open(context.Background()); err != nil {
		return nil, errors.Join(fmt.Errorf("open store %s: %w", dir, err), s.Close())
	}
	return s, nil
}

func (o Options) withDefaults() (Options, error) {
	if o.MaxBytes == 0 {
		o.MaxBytes = DefaultMaxBytes
	}
	if o.MaxBytes < MinBytes {
		return o, fmt.Errorf("store: bound of %d bytes: want at least %d", o.MaxBytes, int64(MinBytes))
	}
	for _, d := range []struct {
		value *time.Duration
		def   time.Duration
	}{{&o.Readings, DefaultReadings}, {&o.Minutes, DefaultMinutes}, {&o.Hours, DefaultHours}} {
		if *d.value == 0 {
			*d.value = d.def
		}
	}
	if o.Replies == 0 {
		o.Replies = DefaultReplies
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Fault == nil {
		o.Fault = func(string) error { return nil }
	}
	return o, nil
}

func (s *Store) open(ctx context.Context) (err error) {
	if s.journal, err = s.openJournal(ctx); err != nil {
		return err
	}
	if s.history, err = s.openHistory(ctx); err != nil {
		return err
	}
	if s.alive, err = openAlive(filepath.Join(s.dir, aliveName)); err != nil {
		return err
	}
	if err := s.skipGivenOut(ctx); err != nil {
		return err
	}
	return s.findLastSeen(ctx)
}

// GaveOut notes that seqs up to the given one were given to readers though
// they could not be stored, so that they are not given again after a restart.
// It writes into room that the file has already, which a full disk allows.
func (s *Store) GaveOut(upTo int64) error { return s.alive.writeGiven(upTo) }

// skipGivenOut lets numbering go on after what was given out unstored.
func (s *Store) skipGivenOut(ctx context.Context) error {
	given, found := s.alive.readGiven()
	if !found || given <= s.journal.last || s.opts.Newest > 0 {
		return nil
	}
	return s.journal.goOnAfter(ctx, given)
}

// Aside lists the damaged files that Open, and Flush since, had to set aside.
func (s *Store) Aside() []SetAside {
	s.asideMu.Lock()
	defer s.asideMu.Unlock()
	return slices.Clone(s.aside)
}

func (s *Store) noteAside(a SetAside) {
	s.asideMu.Lock()
	defer s.asideMu.Unlock()
	s.aside = append(s.aside, a)
}

// LastSeen gives the newest sign of life of the run before, as it was when
// the store was opened; false if there was none.
func (s *Store) LastSeen() (Stamp, bool) { return s.lastSeen, s.seen }

// Heartbeat notes that the agent lives. It is not forced to the disk: a
// crashed agent leaves it, a power cut may leave one that is about 30 s older
// (the kernel's usual delay). Each call costs one page write; once a minute
// to every five is meant.
func (s *Store) Heartbeat(now Stamp) error {
	if err := s.opts.Fault(FaultAlive); err != nil {
		return fmt.Errorf("heartbeat: %w", err)
	}
	return s.alive.write(now)
}

func (s *Store) findLastSeen(ctx context.Context) error {
	s.lastSeen, s.seen = s.alive.read()
	newest, found, err := s.journal.newestStamp(ctx)
	if err != nil {
		return err
	}
	// Of the same run, so that the steady clock tells: each run begins with an
	// event and a heartbeat after it.
	if found && (!s.seen || newest.Steady > s.lastSeen.Steady) {
		s.lastSeen, s.seen = newest, true
	}
	return nil
}

// Close flushes nothing (call Flush before) and closes both files. It may be
// called more than once.
func (s *Store) Close() error {
	s.closing.Do(func() {
		var errs []error
		if s.history != nil {
			errs = append(errs, s.history.close())
		}
		if s.journal != nil {
			errs = append(errs, s.journal.Close())
		}
		if s.alive != nil {
			errs = append(errs, s.alive.file.Close())
		}
		s.closeErr = errors.Join(errs...)
	})
	return s.closeErr
}
