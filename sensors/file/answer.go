package file

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"strconv"
	"syscall"

	"weepd/rules/reading"
)

// longestNumber bounds what is read: a number with its line end is shorter.
const longestNumber = 64

// answer is what came of one attempt to read.
type answer struct {
	text []byte
	err  error
}

var errTooLong = errors.New("more than a number")

func readShort(path string) (text []byte, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	text, err = io.ReadAll(io.LimitReader(f, longestNumber+1))
	if err == nil && len(text) > longestNumber {
		err = errTooLong
	}
	return text, err
}

// interpret gives the number in the file, or why there is none.
func interpret(a answer) (float64, reading.Quality) {
	if a.err != nil {
		return 0, qualityOf(a.err)
	}
	text := string(bytes.TrimSpace(a.text))
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil && !errors.Is(err, strconv.ErrRange):
		return 0, reading.Garbled
	case math.IsNaN(v) || math.IsInf(v, 0):
		return 0, reading.Fault
	}
	return v, reading.Good
}

func qualityOf(err error) reading.Quality {
	switch {
	case errors.Is(err, errTooLong), errors.Is(err, io.ErrUnexpectedEOF):
		return reading.Garbled
	case errors.Is(err, os.ErrDeadlineExceeded), errors.Is(err, fs.ErrNotExist):
		return reading.NoAnswer
	case errors.Is(err, syscall.EIO), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO),
		errors.Is(err, syscall.ETIMEDOUT), errors.Is(err, syscall.EREMOTEIO), errors.Is(err, syscall.EAGAIN):
		return reading.NoAnswer // what drivers return when the device is silent
	default:
		return reading.Fault
	}
}
