package store

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What can be wrong with the disk; errors.Is tells which.
var (
	ErrFull     = errors.New("the disk is full: free some space or lower the store's bound")
	ErrReadOnly = errors.New("the file system is read-only or may not be written: remount it or set its permissions")
	ErrCorrupt  = errors.New("the database file is damaged: restart the agent, which sets it aside")
	ErrIO       = errors.New("reading or writing the disk failed: check the card or disk")
	ErrBusy     = errors.New("the database is in use by another process: stop the other agent")
	ErrNewer    = errors.New("the database was written by a newer version: install that version or move the file away")
	ErrClosed   = errors.New("the store is closed")
)

// typed puts the matching error of the list above in front of err.
func typed(err error) error {
	if kind := kindOf(err); kind != nil && !errors.Is(err, kind) {
		return fmt.Errorf("%w (%w)", kind, err)
	}
	return err
}

// sharper tells a file system that was made read-only from a disk that fails.
func (s *Store) sharper(err error) error {
	if errors.Is(err, ErrIO) && s.alive.readOnly() {
		return fmt.Errorf("%w (%w)", ErrReadOnly, err)
	}
	return err
}

func kindOf(err error) error {
	var lite *sqlite.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &lite):
		return kindOfCode(lite.Code())
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ErrFull
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission):
		return ErrReadOnly
	case errors.Is(err, syscall.EIO):
		return ErrIO
	case errors.Is(err, sql.ErrConnDone), err.Error() == "sql: database is closed":
		return ErrClosed
	}
	return nil
}

// kindOfCode maps SQLite's result codes (sqlite.org/rescode.html); the low
// byte is the primary code.
func kindOfCode(code int) error {
	if code == sqlite3.SQLITE_IOERR_SHORT_READ { // the file is cut off
		return ErrCorrupt
	}
	switch code & 0xff {
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN:
		return ErrReadOnly
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT:
		return ErrCorrupt
	case sqlite3.SQLITE_IOERR:
		return ErrIO
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return ErrBusy
	}
	return nil
}
