package counter

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

	"weepd/rules/reading"
)

// longestCount is that of 2^64-1 with a line end and some room.
const longestCount = 32

// errNoCount says that the file holds something else.
var errNoCount = errors.New("no whole number from 0")

// Read gives the number of a counter, of which the package's documentation says
// where it may be. It may hang as long as the kernel does.
func Read(path string) (uint64, error) { return readCount(path) }

// readCount reads the number in a file, or in the file `count` of a folder.
func readCount(path string) (uint64, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		path = filepath.Join(path, "count")
	}
	text, err := readShort(path)
	if err != nil {
		return 0, err
	}
	return parse(text)
}

func readShort(path string) (text []byte, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return io.ReadAll(io.LimitReader(f, longestCount+1))
}

func parse(text []byte) (uint64, error) {
	if len(text) > longestCount {
		return 0, fmt.Errorf("%w: more than %d bytes", errNoCount, longestCount)
	}
	n, err := strconv.ParseUint(string(bytes.TrimSpace(text)), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%w: %q", errNoCount, text)
	}
	return n, nil
}

func qualityOf(err error) reading.Quality {
	for _, silent := range []error{
		os.ErrDeadlineExceeded, fs.ErrNotExist, // what drivers return when the device is silent:
		syscall.EIO, syscall.ENODEV, syscall.ENXIO, syscall.ETIMEDOUT, syscall.EREMOTEIO, syscall.EAGAIN,
	} {
		if errors.Is(err, silent) {
			return reading.NoAnswer
		}
	}
	if errors.Is(err, errNoCount) {
		return reading.Garbled
	}
	return reading.Fault
}
