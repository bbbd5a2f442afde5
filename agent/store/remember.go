package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"weepd/agent"
)

// Remember gives what the run before left. States that cannot be read are
// told of in the log and left out.
func (k *Keeper) Remember(ctx context.Context) (agent.Remembered, error) {
	if s := peek(k, func(s *Store) *Store { return s }); s != nil {
		return s.remember(ctx, k.log)
	}
	return k.glanced, nil
}

func (s *Store) remember(ctx context.Context, log *slog.Logger) (agent.Remembered, error) {
	var m agent.Remembered
	states, err := s.States(ctx)
	if err != nil {
		return m, fmt.Errorf("alarms of the run before: %w", err)
	}
	if m.Upkeep, err = s.upkeep(ctx, log); err != nil {
		return m, fmt.Errorf("upkeep log of the run before: %w", err)
	}
	if m.Weeps, err = s.weeps(ctx, m.Upkeep); err != nil { // the history is not worth a start that fails
		log.Error("store: the weep of before cannot be read; the upkeep's outlook begins anew", "error", err)
	}
	if m.Minutes, err = s.runInMinutes(ctx, m.Upkeep); err != nil {
		log.Error("store: the curve of a run-in so far cannot be read", "error", err)
	}
	last, seen := s.LastSeen()
	for _, st := range states {
		if st.Key == stoppedKey {
			if !seen || st.Wall.After(last.Wall.Add(-2*time.Second)) {
				m.Stopped = true
				last = Stamp{Wall: st.Wall, Steady: st.Steady}
			}
			continue
		}
		kept, err := keptOf(st)
		if err != nil {
			log.Error("store: an alarm's state is not understood and left out", "key", st.Key, "error", err)
			continue
		}
		m.Alarms = append(m.Alarms, kept)
	}
	if seen || m.Stopped {
		at := agent.Stamp(last)
		m.Last = &at
	}
	return m, nil
}

// upkeepMost bounds the upkeep entries of a gland that are read back, newest
// first: the core holds no more.
const upkeepMost = 512

// upkeep reads the upkeep log, oldest first.
func (s *Store) upkeep(ctx context.Context, log *slog.Logger) ([]agent.Upkeep, error) {
	const part = 500
	var list []agent.Upkeep
	for after := int64(0); ; {
		entries, err := s.UpkeepLog(ctx, "", after, part)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			after = e.ID
			var u agent.Upkeep
			if err := json.Unmarshal(e.Payload, &u); err != nil {
				log.Error("store: an upkeep entry is not understood and left out", "id", e.ID, "error", err)
				continue
			}
			list = append(list, u)
		}
		if len(entries) < part {
			break
		}
	}
	return newestUpkeep(list), nil
}

// newestUpkeep leaves the entries that the core holds.
func newestUpkeep(list []agent.Upkeep) []agent.Upkeep {
	count := make(map[string]int)
	for _, u := range list {
		count[u.Gland]++
	}
	return slices.DeleteFunc(list, func(u agent.Upkeep) bool {
		count[u.Gland]--
		return count[u.Gland] >= upkeepMost
	})
}

// glanceMost bounds the journal that is copied to be read, in bytes: the copy
// may lie in memory.
const glanceMost = 64 << 20

// glance reads what the run before left in a copy: on a read-only disk the
// database cannot be opened where it is.
func (k *Keeper) glance(ctx context.Context) (err error) {
	dir, err := os.MkdirTemp("", "weepd-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	for _, name := range []string{journalFile, journalFile + "-wal", seqName, aliveName} {
		if err := copyFile(filepath.Join(dir, name), filepath.Join(k.dir, name), glanceMost); err != nil {
			return err
		}
	}
	s, err := Open(dir, Options{})
	if err != nil {
		return err
	}
	k.newest = s.LastSeq()
	k.glanced, err = s.remember(ctx, k.log)
	if errors.Is(k.why, ErrReadOnly) && !k.glanced.Stopped {
		// On a disk that was read-only already, the run before could neither store
		// nor note what it gave out: what it had reserved is not used again.
		k.newest = max(k.newest, Reserved(k.dir))
	}
	return errors.Join(err, s.Close())
}

// copyFile copies a file if it is there and has at most so many bytes.
func copyFile(to, from string, most int64) error {
	in, err := os.Open(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }() // it was only read
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	n, err := io.Copy(out, io.LimitReader(in, min(most, math.MaxInt64-1)+1))
	if n > most {
		err = fmt.Errorf("%s is larger than %d bytes", from, most)
	}
	return errors.Join(err, out.Close())
}
