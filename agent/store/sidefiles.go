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

// readNumber gives false when the file is absent or damaged.
func readNumber(path string) (int64, bool, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, err
	}
	words, ok := unsealed(data, 1)
	if !ok {
		return 0, false, nil
	}
	return int64(words[0]), true, nil
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
// torn write leaves the one before.
type aliveFile struct {
	file *os.File
	turn int64
}

const aliveSlot = 28

func openAlive(path string) (*aliveFile, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("open heartbeat file: %w", typed(err))
	}
	return &aliveFile{file: f}, nil
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
