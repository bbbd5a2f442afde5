package access

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// LoadUsers reads a users file. One that others can read or change is refused.
func LoadUsers(path string) (*Book, error) {
	data, err := readPrivate(path, "users file")
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// readPrivate reads a file that must be closed to the rest of the world.
func readPrivate(path, what string) (data []byte, err error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w; check the name and that weepd's user may read it", what, path, cause(err))
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	info, err := file.Stat()
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	if err := private(info); err != nil {
		return nil, fmt.Errorf("%s %s: %w; run chmod 640 %s", what, path, err, path)
	}
	// One byte more than allowed, so that the parser sees that it is too much.
	data, err = io.ReadAll(io.LimitReader(file, MaxFile+1))
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	return data, nil
}

// private allows the owner everything and the group reading.
func private(info fs.FileInfo) error {
	mode := info.Mode()
	switch {
	case !mode.IsRegular():
		return errors.New("not a file")
	case mode.Perm()&0o007 != 0:
		return fmt.Errorf("mode %#o lets everybody at it", mode.Perm())
	case mode.Perm()&0o020 != 0:
		return fmt.Errorf("mode %#o lets its group change it", mode.Perm())
	}
	return nil
}

// cause strips the path, which the message already carries.
func cause(err error) error {
	if pathErr, ok := errors.AsType[*fs.PathError](err); ok {
		return pathErr.Err
	}
	return err
}
