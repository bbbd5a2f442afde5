package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	_ "modernc.org/sqlite" // the driver
)

// database is one SQLite file with one connection, so with one writer.
type database struct {
	*sql.DB
	fault func(string) error
}

// pragmas: with FULL nothing acknowledged was lost in an imitated power cut,
// with NORMAL hundreds of commits were. EXCLUSIVE keeps a second agent out.
// 1 MiB of page cache. Nothing here writes to a file that is there already, so
// that a full or read-only disk can still be read.
var pragmas = []string{
	"locking_mode(EXCLUSIVE)", "synchronous(FULL)", "cache_size(-1024)",
	"busy_timeout(0)", "journal_size_limit(1048576)", "wal_autocheckpoint(256)",
	"temp_store(MEMORY)", "trusted_schema(OFF)", "cell_size_check(ON)",
}

// How a file makes its commits atomic.
const (
	// modeOften: one sync a commit, 3.8 times the commits a second of the
	// other; every page is written twice.
	modeOften = "journal_mode(WAL)"
	// modeSeldom: three syncs a commit, but new pages are written once: a
	// simulated day of history at 32 glands took 826 kB a gland, not 1181.
	modeSeldom = "journal_mode(TRUNCATE)"
)

func openDatabase(path, mode string, fault func(string) error) (*database, error) {
	all := append(slices.Clone(pragmas), mode)
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		all = slices.Insert(all, 1, "auto_vacuum(INCREMENTAL)") // counts only before the first write
	}
	// unix-excl needs no file of shared memory (sqlite.org/vfs.html), which a
	// full disk would refuse.
	q := url.Values{"_pragma": all, "_txlock": {"immediate"}, "vfs": {"unix-excl"}}
	u, err := fileURL(path, q)
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, typed(err)
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	db.SetConnMaxIdleTime(0)
	return &database{db, fault}, nil
}

// fileURL names a file to SQLite: by its whole path, as the first folder of a
// relative one would be taken for a host.
func fileURL(path string, q url.Values) (url.URL, error) {
	whole, err := filepath.Abs(path)
	return url.URL{Scheme: "file", Path: whole, RawQuery: q.Encode()}, err
}

// migrate brings the file to the newest version, one transaction a step.
func (d *database) migrate(ctx context.Context, steps []string) error {
	var version int
	if err := d.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return typed(err)
	}
	if version > len(steps) {
		return fmt.Errorf("%w: it has version %d, this one knows %d", ErrNewer, version, len(steps))
	}
	for v := version; v < len(steps); v++ {
		err := d.write(ctx, func(tx *txn) error {
			return tx.exec(ctx, steps[v]+fmt.Sprintf("; PRAGMA user_version=%d", v+1))
		})
		if err != nil {
			return fmt.Errorf("to version %d: %w", v+1, err)
		}
	}
	return nil
}

// check looks through the whole file.
func (d *database) check(ctx context.Context) error {
	var verdict string
	if err := d.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return typed(err)
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", ErrCorrupt, verdict)
	}
	return nil
}

// used gives the bytes in use and those of the file; free pages lie between.
func (d *database) used(ctx context.Context) (used, file int64, err error) {
	var size, pages, free int64
	row := d.QueryRowContext(ctx, "SELECT page_size, page_count, freelist_count FROM "+
		"pragma_page_size, pragma_page_count, pragma_freelist_count")
	if err := row.Scan(&size, &pages, &free); err != nil {
		return 0, 0, typed(err)
	}
	return (pages - free) * size, pages * size, nil
}

// vacuum gives free pages back to the file system.
func (d *database) vacuum(ctx context.Context) error {
	if err := d.fault(FaultVacuum); err != nil {
		return err
	}
	_, err := d.ExecContext(ctx, "PRAGMA incremental_vacuum")
	return typed(err)
}

// txn is a write transaction whose every write passes the fault seam.
type txn struct {
	*sql.Tx
	fault func(string) error
}

func (t *txn) exec(ctx context.Context, query string, args ...any) error {
	if err := t.fault(FaultExec); err != nil {
		return err
	}
	_, err := t.ExecContext(ctx, query, args...)
	return typed(err)
}

// write runs do in one transaction: all of it or nothing.
func (d *database) write(ctx context.Context, do func(*txn) error) error {
	if err := d.fault(FaultBegin); err != nil {
		return err
	}
	tx, err := d.BeginTx(ctx, nil)
	if err != nil {
		return typed(err)
	}
	if err = do(&txn{tx, d.fault}); err == nil {
		if err = d.fault(FaultCommit); err == nil {
			return typed(tx.Commit())
		}
	}
	if undo := tx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
		return errors.Join(err, typed(undo))
	}
	return err
}
