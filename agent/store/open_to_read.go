package store

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
)

// OpenToRead opens a store that is there, for one who only reads it. On a disk
// that cannot be written it is opened in a copy, in the folder for temporary
// files. release closes it and removes the copy. An agent that has it open is
// ErrBusy.
func OpenToRead(dir string) (s *Store, release func() error, err error) {
	if _, err := os.Stat(filepath.Join(dir, historyFile)); errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("%s holds no history of an agent (no %s)", dir, historyFile)
	} else if err != nil {
		return nil, nil, err
	}
	if s, err = Open(dir, Options{}); err == nil {
		return s, s.Close, nil
	}
	if !errors.Is(err, ErrReadOnly) && !errors.Is(err, fs.ErrPermission) {
		return nil, nil, err
	}
	copied, err := os.MkdirTemp("", "weepd-")
	if err != nil {
		return nil, nil, err
	}
	remove := func() error { return os.RemoveAll(copied) }
	for _, name := range []string{journalFile, journalFile + "-wal", historyFile, historyFile + "-journal", seqName, aliveName} {
		if err := copyFile(filepath.Join(copied, name), filepath.Join(dir, name), math.MaxInt64); err != nil {
			return nil, nil, errors.Join(err, remove())
		}
	}
	if s, err = Open(copied, Options{}); err != nil {
		return nil, nil, errors.Join(err, remove())
	}
	return s, func() error { return errors.Join(s.Close(), remove()) }, nil
}
