package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// reserveBlock is how many seqs are noted ahead in the side file, so that it
// is written once in so many events.
const reserveBlock = 1024

const (
	seqName   = "seq"
	aliveName = "alive"
)

// reserve notes, before any seq up to the given one is used, that it is. If
// journal.db is lost, numbering goes on after what was reserved.
func (j *journal) reserve(upto int64) error {
	if upto <= j.reserved {
		return nil
	}
	if err := j.fault(FaultReserve); err != nil {
		return err
	}
	next := upto + reserveBlock
	if err := writeNumber(j.seqFile, next); err != nil {
		return fmt.Errorf("reserve sequence numbers: %w", typed(err))
	}
	j.reserved = next
	return nil
}

// writeNumber replaces the file durably: old or new, never half.
func writeNumber(path string, n int64) (err error) {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(sealed(uint64(n)))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// readNumber gives 0 when the file is absent or damaged.
func readNumber(path string) (int64, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	words, ok := unsealed(data, 1)
	if !ok {
		return 0, nil
	}
	return int64(words[0]), nil
}

// sealed writes words with their check sum.
func sealed(words ...uint64) []byte {
	var data []byte
	for _, w := range words {
		data = binary.BigEndian.AppendUint64(data, w)
	}
	return binary.BigEndian.AppendUint32(data, crc32.Checksum(data, castagnoli))
}

func unsealed(data []byte, n int) ([]uint64, bool) {
	if len(data) != 8*n+4 || crc32.Checksum(data[:8*n], castagnoli) != binary.BigEndian.Uint32(data[8*n:]) {
		return nil, false
	}
	words := make([]uint64, n)
	for i := range words {
		words[i] = binary.BigEndian.Uint64(data[8*i:])
	}
	return words, true
}

// aliveFile holds the last heartbeat in two slots, written in turn, so that a
// torn write leaves the one before, and after them the newest seq that was
// given out without being stored.
type aliveFile struct {
	file *os.File
	turn int64
}

const aliveSlot = 28

func openAlive(path string) (*aliveFile, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if errors.Is(typed(err), ErrReadOnly) { // what it says can still be read
		f, err = os.Open(path)
	}
	if err != nil {
		return nil, fmt.Errorf("open heartbeat file: %w", typed(err))
	}
	if info, err := f.Stat(); err == nil && info.Size() < givenAt+givenSize {
		_ = f.Truncate(givenAt + givenSize) // a disk that is full is told elsewhere
	}
	return &aliveFile{file: f}, nil
}

const (
	givenAt   = 2 * aliveSlot
	givenSize = 12
)

func (a *aliveFile) writeGiven(seq int64) error {
	if _, err := a.file.WriteAt(sealed(uint64(seq)), givenAt); err != nil {
		return fmt.Errorf("note of seqs given out: %w", typed(err))
	}
	return nil
}

// readOnly reports whether the file system takes no writes: one that the kernel
// made read-only after an error shows to SQLite as an error of the disk. The
// byte that is written, the first behind all else, means nothing.
func (a *aliveFile) readOnly() bool {
	_, err := a.file.WriteAt([]byte{0}, givenAt+givenSize)
	return errors.Is(typed(err), ErrReadOnly)
}

func (a *aliveFile) readGiven() (int64, bool) {
	data := make([]byte, givenSize)
	if n, err := a.file.ReadAt(data, givenAt); n < givenSize || err != nil && !errors.Is(err, io.EOF) {
		return 0, false
	}
	words, ok := unsealed(data, 1)
	if !ok {
		return 0, false
	}
	return int64(words[0]), true
}

// Reserved gives the newest seq that the store in dir may have given out, as
// far as its side file tells, for one who cannot open it.
func Reserved(dir string) int64 {
	n, err := readNumber(filepath.Join(dir, seqName))
	if err != nil {
		return 0
	}
	return n
}

// write puts a stamp into the slot whose turn it is, with a rising number.
func (a *aliveFile) write(s Stamp) error {
	data := sealed(uint64(a.turn+1), uint64(s.Wall.UnixNano()), uint64(s.Steady))
	if _, err := a.file.WriteAt(data, (a.turn+1)%2*aliveSlot); err != nil {
		return fmt.Errorf("heartbeat: %w", typed(err))
	}
	a.turn++
	return nil
}

func (a *aliveFile) read() (s Stamp, found bool) {
	for slot := range int64(2) {
		data := make([]byte, aliveSlot)
		if n, err := a.file.ReadAt(data, slot*aliveSlot); n < aliveSlot || err != nil && !errors.Is(err, io.EOF) {
			continue
		}
		words, ok := unsealed(data, 3)
		if ok && (!found || int64(words[0]) > a.turn) {
			a.turn, found = int64(words[0]), true
			s = stampOf(int64(words[1]), int64(words[2]))
		}
	}
	return s, found
}
