package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"time"
)

// Look is a store as it stands, for one who only reads it beside an agent that
// may have it open. What waits in that agent's memory is not in it.
type Look struct {
	journal *journal
	history *database
}

const (
	lookTries = 20
	// lookQuiet is how long a file must not have been written for a write right
	// after a look at it to show: the kernel's clock of files ticks every 10 ms
	// at the slowest.
	lookQuiet = 50 * time.Millisecond
	lookWait  = 2 * time.Second // for a writer to finish
)

// LookAt hands the store in dir to do. Nothing is written there. The journal is
// copied to a folder for temporary files; the history, which may be large, is
// read in place. If it was written meanwhile, do is run again and must begin
// anew.
func LookAt(ctx context.Context, dir string, do func(*Look) error) (err error) {
	if _, err := os.Stat(filepath.Join(dir, journalFile)); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s holds no store of an agent (no %s)", dir, journalFile)
		}
		return fmt.Errorf("look at store %s: %w", dir, unread(err))
	}
	copied, err := os.MkdirTemp("", "weepd-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(copied)) }()
	if err := copyQuiet(ctx, copied, dir, journalFile, journalFile+"-wal"); err != nil {
		return fmt.Errorf("look at store %s: %w", dir, err)
	}
	db, err := openDatabase(filepath.Join(copied, journalFile), modeOften, func(string) error { return nil })
	if err != nil {
		return err
	}
	look := &Look{journal: &journal{database: db}}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := db.known(ctx, len(journalSchema)); err != nil {
		return fmt.Errorf("%s: %w", journalFile, err)
	}
	return look.beside(ctx, dir, copied, do)
}

// beside opens the history and runs do until nobody wrote meanwhile.
func (l *Look) beside(ctx context.Context, dir, copied string, do func(*Look) error) error {
	if _, err := os.Stat(filepath.Join(dir, historyFile)); errors.Is(err, fs.ErrNotExist) {
		return do(l)
	}
	file, err := os.Open(filepath.Join(dir, historyFile))
	if err != nil {
		return unread(err)
	}
	if err := file.Close(); err != nil {
		return err
	}
	for range lookTries {
		before, err := quiet(ctx, dir, historyFile, historyFile+"-journal")
		if err != nil {
			return err
		}
		if before[1].size > 0 { // a write that was cut off: it must be undone in a copy
			if err := copyQuiet(ctx, copied, dir, historyFile, historyFile+"-journal"); err != nil {
				return err
			}
			return l.with(ctx, func() (*database, error) {
				return openDatabase(filepath.Join(copied, historyFile), modeSeldom, func(string) error { return nil })
			}, do)
		}
		err = l.with(ctx, func() (*database, error) { return openFrozen(filepath.Join(dir, historyFile)) }, do)
		if after := prints(dir, historyFile, historyFile+"-journal"); after == before {
			return err
		}
	}
	return fmt.Errorf("%w: %s is written all the time; try again", ErrBusy, historyFile)
}

func (l *Look) with(ctx context.Context, open func() (*database, error), do func(*Look) error) (err error) {
	if l.history, err = open(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.history.Close()) }()
	if err := l.history.known(ctx, len(historySchema)); err != nil {
		return fmt.Errorf("%s: %w", historyFile, err)
	}
	return do(l)
}

// ErrUnread says that the store belongs to somebody else.
var ErrUnread = errors.New("the store may not be read by this user: run the command as the agent's user, such as `sudo -u weepd`")

func unread(err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("%w (%w)", ErrUnread, err)
	}
	return typed(err)
}

// known refuses a file of a newer version.
func (d *database) known(ctx context.Context, newest int) error {
	var version int
	if err := d.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return typed(err)
	}
	if version > newest {
		return fmt.Errorf("%w: it has version %d, this one knows %d", ErrNewer, version, newest)
	}
	return nil
}

// openFrozen opens a file that is taken not to change: without locks, which an
// agent that writes it holds (sqlite.org/uri.html, immutable).
func openFrozen(path string) (*database, error) {
	q := url.Values{"immutable": {"1"}, "mode": {"ro"}, "_pragma": {"cell_size_check(ON)", "trusted_schema(OFF)", "cache_size(-4096)"}}
	u, err := fileURL(path, q)
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, typed(err)
	}
	db.SetMaxOpenConns(1)
	return &database{DB: db}, nil
}

// fileprint tells whether a file was written.
type fileprint struct {
	size    int64
	written int64 // ns
}

// prints looks at two files; one that is not there has none.
func prints(dir string, names ...string) (out [2]fileprint) {
	for i, name := range names {
		if info, err := os.Stat(filepath.Join(dir, name)); err == nil {
			out[i] = fileprint{info.Size(), info.ModTime().UnixNano()}
		}
	}
	return out
}

// quiet waits until two files have not been written for a moment. The second
// is the first's journal of a write that is going on; it waits for its end, but
// not for ever.
func quiet(ctx context.Context, dir string, names ...string) ([2]fileprint, error) {
	tick := time.NewTicker(lookQuiet)
	defer tick.Stop()
	last := prints(dir, names...)
	for waited := time.Duration(0); ; waited += lookQuiet {
		select {
		case <-ctx.Done():
			return last, ctx.Err()
		case <-tick.C:
		}
		now := prints(dir, names...)
		if now == last && (now[1].size == 0 || names[1] != historyFile+"-journal" || waited > lookWait) {
			return now, nil
		}
		last = now
	}
}

// copyQuiet copies two files as they were at one moment.
func copyQuiet(ctx context.Context, to, from string, names ...string) error {
	for range lookTries {
		before, err := quiet(ctx, from, names...)
		if err != nil {
			return err
		}
		for _, name := range names {
			if err := os.Remove(filepath.Join(to, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
			if err := copyFile(filepath.Join(to, name), filepath.Join(from, name), math.MaxInt64); err != nil {
				return unread(err)
			}
		}
		if prints(from, names...) == before {
			return nil
		}
	}
	return fmt.Errorf("%w: %s is written all the time; try again", ErrBusy, names[0])
}
