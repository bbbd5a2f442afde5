package access

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Change says how an entry is written.
type Change struct {
	ReadOnly bool // may read, not command
	Replace  bool // an entry of the same name
}

// AddUser puts a person into the users file, which is made if need be.
func AddUser(path, name, secret string, c Change) error {
	hash, err := hashSecret(secret)
	if err != nil {
		return err
	}
	return edit(path, name, c.Replace, name+":"+hash+c.right())
}

// AddToken puts a program into the users file and gives its token, which is
// kept nowhere else.
func AddToken(path, name string, c Change) (string, error) {
	fresh := newToken()
	sum := digestOf(fresh)
	err := edit(path, name, c.Replace, tokenWord+name+":"+hex.EncodeToString(sum[:])+c.right())
	if err != nil {
		return "", err
	}
	return fresh, nil
}

// Remove takes an entry out of the users file.
func Remove(path, name string) error { return edit(path, name, true, "") }

func (c Change) right() string {
	if c.ReadOnly {
		return ":" + readWord
	}
	return ""
}

// edit writes the entry of a name, or takes it out. All else stays as it is.
func edit(path, name string, replace bool, line string) (err error) {
	if !ValidName(name) {
		return fmt.Errorf("name %q; want %s", name, nameWant)
	}
	unlock, err := lock(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("users file %s: %w", path, cause(err))
	}
	defer func() { err = errors.Join(err, unlock()) }()
	old, err := readPrivate(path, "users file")
	if errors.Is(err, fs.ErrNotExist) && line != "" {
		old, err = []byte("# Users of weepd. Change it with `weepd user`.\n"), nil
	}
	if err != nil {
		return err
	}
	book, err := Parse(path, old)
	if err != nil {
		return err
	}
	there := book.has(name)
	switch {
	case there && !replace:
		return fmt.Errorf("%s is in %s already; use --replace", name, path)
	case !there && line == "":
		return fmt.Errorf("%s is not in %s", name, path)
	}
	return write(path, edited(old, name, line))
}

// edited gives the file with the entry in its old place, or at the end.
func edited(old []byte, name, line string) []byte {
	var out bytes.Buffer
	add := func(text string) {
		if text != "" {
			out.WriteString(text + "\n")
		}
	}
	for text := range strings.Lines(string(old)) {
		entry := strings.TrimPrefix(strings.TrimPrefix(text, "\ufeff"), tokenWord)
		if who, _, found := strings.Cut(entry, ":"); found && who == name {
			add(line)
			line = ""
			continue
		}
		out.WriteString(text)
		if !strings.HasSuffix(text, "\n") {
			out.WriteString("\n")
		}
	}
	add(line)
	return out.Bytes()
}

// write replaces the file in one step, with its owner and mode as they were.
func write(path string, data []byte) (err error) {
	fresh, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*") // mode 0600
	if err != nil {
		return fmt.Errorf("users file %s: %w", path, cause(err))
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("users file %s: %w", path, cause(err)), os.Remove(fresh.Name()))
		}
	}()
	_, err = fresh.Write(data)
	if err = errors.Join(err, takeOver(path, fresh), fresh.Sync(), fresh.Close()); err != nil {
		return err
	}
	return os.Rename(fresh.Name(), path)
}

// takeOver gives the new file the owner and mode of the old one, if there is one.
func takeOver(path string, fresh *os.File) error {
	info, err := os.Stat(path)
	if err != nil {
		return nil //nolint:nilerr // a first file is its maker's
	}
	if owner, ok := info.Sys().(*syscall.Stat_t); ok {
		if err := fresh.Chown(int(owner.Uid), int(owner.Gid)); err != nil {
			return err
		}
	}
	return fresh.Chmod(info.Mode().Perm())
}

// lock keeps two editors apart. The file itself is replaced, so it is the
// folder that is locked.
func lock(dir string) (unlock func() error, err error) {
	folder, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(folder.Fd()), syscall.LOCK_EX); err != nil {
		return nil, errors.Join(err, folder.Close())
	}
	return folder.Close, nil
}
