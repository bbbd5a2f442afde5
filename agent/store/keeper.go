package store

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"weepd/agent"
)

// openAgain is how long a store that cannot be opened is left alone.
const openAgain = 10 * time.Second

// Keeper is a Store as the agent's disk and history. A store that could not
// be opened, or that was damaged while running, is opened again. It is safe
// for concurrent use.
type Keeper struct {
	dir  string
	opts Options
	log  *slog.Logger

	mu      sync.RWMutex
	store   *Store // nil: it cannot be opened at present
	why     error  // it cannot
	tried   time.Time
	newest  int64            // the newest seq that was stored through this keeper, or seen
	began   bool             // something was stored: the run before counts no more as stopped
	notices []string         // of stores that were closed
	glanced agent.Remembered // what was read of a store that cannot be opened
}

// OpenKeeper opens the store in dir. A disk that is full, read-only or broken
// is no error: the agent works without and the keeper tries again. Another
// agent in the same folder, a newer version's files and wrong options are.
func OpenKeeper(dir string, opts Options, log *slog.Logger) (*Keeper, error) {
	k := &Keeper{dir: dir, opts: opts, log: log}
	s, err := Open(dir, opts)
	switch {
	case err == nil:
		k.store = s
	case errors.Is(err, ErrFull), errors.Is(err, ErrReadOnly), errors.Is(err, ErrIO):
		k.why, k.tried = err, time.Now()
		log.Error("store: cannot be opened; alarms go on and are kept in memory until it can", "error", err)
		if err := k.glance(context.Background()); err != nil {
			log.Warn("store: what the run before left cannot be read either; alarms begin anew", "error", err)
		}
	default:
		return nil, err
	}
	return k, nil
}

// Folder is where the store is.
func (k *Keeper) Folder() string { return k.dir }

// Configure puts another bound in force, and says whether somebody fetches events
// from now on. What happened before somebody does is not theirs.
func (k *Keeper) Configure(ctx context.Context, maxBytes int64, outbox bool) error {
	k.mu.Lock()
	begins := outbox && k.opts.NoOutbox
	k.opts.MaxBytes, k.opts.NoOutbox = maxBytes, !outbox
	s := k.store
	k.mu.Unlock()
	if s == nil {
		return nil
	}
	s.bound.Store(maxBytes)
	s.journal.setOutbox(outbox)
	if begins {
		return s.Delete(ctx, s.LastSeq())
	}
	return nil
}

// Close closes the store; what waits in the history must have been flushed.
func (k *Keeper) Close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.store == nil {
		return nil
	}
	return k.store.Close()
}

// use hands the open store to do, and opens it again if it is not or if do
// finds it damaged; then do runs a second time.
func (k *Keeper) use(do func(*Store) error) error {
	k.mu.RLock()
	s, why := k.store, k.why
	k.mu.RUnlock()
	if s != nil {
		err := do(s)
		again := errors.Is(err, ErrCorrupt) || errors.Is(err, ErrReadOnly) && k.writable()
		if !again {
			return err
		}
		why = err
	}
	s, err := k.reopen(s, why)
	if err != nil {
		return err
	}
	return do(s)
}

// writable reports whether files can be written: a store that was opened on a
// read-only disk stays read-only until it is opened again.
func (k *Keeper) writable() bool {
	f, err := os.OpenFile(filepath.Join(k.dir, journalFile), os.O_RDWR, 0)
	if err != nil {
		return false
	}
	return f.Close() == nil
}

// reopen replaces the store that failed, unless somebody was quicker.
func (k *Keeper) reopen(failed *Store, why error) (*Store, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.store != failed {
		return k.store, nil
	}
	if time.Since(k.tried) < openAgain {
		return nil, why
	}
	k.tried = time.Now()
	opts := k.opts
	if failed != nil {
		k.log.Error("store: opening it anew", "error", why)
		k.notices = append(k.notices, words(failed.Aside())...)
		opts.Newest = max(k.newest, failed.LastSeq())
		if err := failed.Close(); err != nil {
			k.log.Warn("store: closing the damaged one", "error", err)
		}
	}
	s, err := Open(k.dir, opts)
	if k.store, k.why = s, err; err != nil {
		return nil, err
	}
	k.log.Info("store: open", "folder", k.dir)
	return s, nil
}

func words(aside []SetAside) []string {
	var list []string
	for _, a := range aside {
		list = append(list, a.String())
	}
	return list
}

// read is use for what gives a value.
func read[T any](k *Keeper, get func(*Store) (T, error)) (T, error) {
	var out T
	err := k.use(func(s *Store) (err error) {
		out, err = get(s)
		return err
	})
	return out, err
}

// peek is for what an open store knows without looking at the disk.
func peek[T any](k *Keeper, get func(*Store) T) (out T) {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if k.store != nil {
		out = get(k.store)
	}
	return out
}

// Store implements agent.Disk.
func (k *Keeper) Store(ctx context.Context, b *agent.Batch) error {
	batch, err := batchOf(b)
	if err != nil {
		return err
	}
	k.mu.RLock()
	if !k.began && !b.Stop {
		batch.States = append(batch.States, State{Key: stoppedKey})
	}
	k.mu.RUnlock()
	err = k.use(func(s *Store) error {
		replies, err := undone(ctx, s, batch.Replies)
		if err != nil {
			return err
		}
		one := batch
		one.Replies = replies
		_, err = s.Commit(ctx, one)
		return err
	})
	if err != nil {
		return err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.began = true
	if n := len(batch.Events); n > 0 {
		k.newest = max(k.newest, batch.Events[n-1].Seq)
	}
	return nil
}

// undone leaves out the replies that are stored already, by a commit that
// failed too late.
func undone(ctx context.Context, s *Store, replies []Reply) ([]Reply, error) {
	var fresh []Reply
	for _, r := range replies {
		_, found, err := s.Done(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		if !found {
			fresh = append(fresh, r)
		}
	}
	return fresh, nil
}

// Newest implements agent.Disk. Without an open store it is what the side
// file reserves or, without that, more than a station ever counts to.
func (k *Keeper) Newest() uint64 {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if k.store != nil {
		return uint64(k.store.LastSeq())
	}
	if k.newest > 0 {
		return uint64(k.newest)
	}
	if n := Reserved(k.dir); n > 0 {
		return uint64(n)
	}
	return uint64(max(time.Now().Unix(), 0))
}

// GaveOut implements agent.Disk.
func (k *Keeper) GaveOut(seq uint64) {
	err := peek(k, func(s *Store) error { return s.GaveOut(int64(seq)) })
	if err != nil { // the disk's failure is reported where it was met first
		k.log.Debug("store: note of numbers given out", "error", err)
	}
}
