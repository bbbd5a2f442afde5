package remotewrite

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// memoryMost is how many instants wait in memory before they are written to a
// file together: a flash card lives the longer the rarer it is written.
const memoryMost = 5

const (
	fileSuffix = ".samples"
	tempSuffix = ".new"
)

// queue is what waits, oldest first: files, then memory. It is safe for
// concurrent use.
type queue struct {
	dir   string
	bound int64

	mu      sync.Mutex
	files   []file
	memory  []instant
	dropped uint64 // instants that the bound cost
}

type file struct {
	number   uint64
	bytes    int64
	instants int
}

// openQueue finds what the run before left. The queue works, in memory at
// least, even with an error.
func openQueue(dir string, bound int64) (*queue, error) {
	q := &queue{dir: dir, bound: bound}
	if err := q.open(); err != nil {
		return q, fmt.Errorf("remote write: %w", err)
	}
	return q, nil
}

func (q *queue) open() error {
	if err := os.MkdirAll(q.dir, 0o750); err != nil {
		return err
	}
	entries, err := os.ReadDir(q.dir) // sorted by name
	if err != nil {
		return err
	}
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), tempSuffix) { // a power cut's
			if err := os.Remove(filepath.Join(q.dir, e.Name())); err != nil {
				return err
			}
			continue
		}
		number, err := strconv.ParseUint(strings.TrimSuffix(e.Name(), fileSuffix), 10, 64)
		if err != nil || !strings.HasSuffix(e.Name(), fileSuffix) {
			continue // not ours
		}
		text, err := os.ReadFile(q.path(number))
		if err != nil {
			return err
		}
		q.files = append(q.files, file{number, int64(len(text)), len(decode(text))})
	}
	return nil
}

func (q *queue) path(number uint64) string {
	return filepath.Join(q.dir, fmt.Sprintf("%020d%s", number, fileSuffix))
}

// add lets an instant wait.
func (q *queue) add(i instant) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.memory = append(q.memory, i)
	if len(q.memory) < memoryMost {
		return nil
	}
	return q.spillLocked()
}

// spill writes what waits in memory to a file.
func (q *queue) spill() error {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.spillLocked()
}

// spillLocked leaves in memory, bounded, what cannot be written.
func (q *queue) spillLocked() error {
	if len(q.memory) == 0 {
		return nil
	}
	number := uint64(1)
	if n := len(q.files); n > 0 {
		number = q.files[n-1].number + 1
	}
	text := encode(q.memory)
	if err := errors.Join(q.makeRoom(int64(len(text))), writeWhole(q.path(number), text)); err != nil {
		if over := len(q.memory) - 10*memoryMost; over > 0 {
			q.dropped += uint64(over)
			q.memory = slices.Clone(q.memory[over:])
		}
		return fmt.Errorf("remote write: %w", err)
	}
	q.files = append(q.files, file{number, int64(len(text)), len(q.memory)})
	q.memory = nil
	return nil
}

// makeRoom gives up the oldest files.
func (q *queue) makeRoom(bytes int64) error {
	for _, f := range q.files {
		bytes += f.bytes
	}
	for len(q.files) > 0 && bytes > q.bound {
		oldest := q.files[0]
		if err := os.Remove(q.path(oldest.number)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		bytes -= oldest.bytes
		q.dropped += uint64(oldest.instants)
		q.files = q.files[1:]
	}
	return nil
}

// writeWhole makes a file that is there as a whole or not at all.
func writeWhole(path string, text []byte) error {
	f, err := os.OpenFile(path+tempSuffix, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(path+tempSuffix, path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(path+tempSuffix))
	}
	return nil
}

// batch is the oldest of what waits.
type batch struct {
	instants []instant
	file     uint64 // 0: of memory
}

// oldest gives what has waited longest; false when nothing waits.
func (q *queue) oldest() (batch, bool, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.files) == 0 {
		return batch{instants: slices.Clone(q.memory)}, len(q.memory) > 0, nil
	}
	first := q.files[0]
	text, err := os.ReadFile(q.path(first.number))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return batch{}, false, fmt.Errorf("remote write: %w", err)
	}
	return batch{decode(text), first.number}, true, nil
}

// done forgets a batch that is dealt with.
func (q *queue) done(b batch) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if b.file == 0 {
		q.memory = slices.Clone(q.memory[min(len(b.instants), len(q.memory)):])
		return nil
	}
	if len(q.files) == 0 || q.files[0].number != b.file {
		return nil // given up meanwhile
	}
	if err := os.Remove(q.path(b.file)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("remote write: %w", err)
	}
	q.files = q.files[1:]
	return nil
}

// waiting counts the instants that wait, and those that the bound cost.
func (q *queue) waiting() (n int, dropped uint64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	n = len(q.memory)
	for _, f := range q.files {
		n += f.instants
	}
	return n, q.dropped
}
