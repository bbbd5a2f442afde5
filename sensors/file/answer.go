package file

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"weepd/rules/reading"
)

// longest bounds what is read: a number with its line end is shorter, and so
// are the two lines of w1_slave.
const longest = 160

var (
	errGarbled = errors.New("no number")
	errNumber  = errors.New("not a finite number")
	errFault   = errors.New("the driver says that the sensor is at fault")
	errMany    = errors.New("several files fit")
)

// answer is what came of one attempt to read a file and those beside it.
type answer struct {
	number        float64
	offset, scale float64 // found beside it, else 0 and 1
}

// readNode reads a file as its sort says. path may be a pattern, for hwmon and
// iio number their folders anew at each start; one file must fit.
func readNode(path string, n node) (a answer, err error) {
	if n.fault != "" {
		if fault, err := readNumber(n.fault); err == nil && fault != 0 {
			return answer{}, fmt.Errorf("%s: %w", n.fault, errFault)
		}
	}
	text, err := readShort(path)
	if err != nil {
		return answer{}, err
	}
	if n.w1 {
		a.number, err = parseW1(text)
	} else {
		a.number, err = parseNumber(text)
	}
	if err != nil {
		return answer{}, fmt.Errorf("%s: %w", path, err)
	}
	a.offset, err = firstOf(n.offsets, 0)
	if err != nil {
		return answer{}, err
	}
	a.scale, err = firstOf(n.scales, 1)
	return a, err
}

// resolve gives the one file that fits a pattern; a plain path is itself.
func resolve(pattern string) (string, error) {
	if !strings.ContainsAny(pattern, `*?[`) {
		return pattern, nil
	}
	found, err := filepath.Glob(pattern)
	switch {
	case err != nil:
		return "", fmt.Errorf("%s: %w", pattern, err)
	case len(found) == 0:
		return "", fmt.Errorf("%s: %w", pattern, fs.ErrNotExist)
	case len(found) > 1:
		return "", fmt.Errorf("%s: %w: %s", pattern, errMany, strings.Join(found, ", "))
	}
	return found[0], nil
}

// firstOf gives the number in the first of the files that is there.
func firstOf(paths []string, otherwise float64) (float64, error) {
	for _, path := range paths {
		v, err := readNumber(path)
		if !errors.Is(err, fs.ErrNotExist) {
			return v, err
		}
	}
	return otherwise, nil
}

func readNumber(path string) (float64, error) {
	text, err := readShort(path)
	if err != nil {
		return 0, err
	}
	v, err := parseNumber(text)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", path, err)
	}
	return v, nil
}

// readShort reads by plain calls: os.Open would ask for more of a file than it takes
// to read it, as it may be one to be waited for.
func readShort(path string) (text []byte, err error) {
	fd, err := retried(func() (int, error) { return unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC, 0) })
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: path, Err: err}
	}
	defer func() { _ = unix.Close(fd) }() // nothing was written
	text = make([]byte, 0, longest+1)
	for len(text) < cap(text) {
		n, err := retried(func() (int, error) { return unix.Read(fd, text[len(text):cap(text)]) })
		if err != nil {
			return nil, &fs.PathError{Op: "read", Path: path, Err: err}
		}
		if n == 0 {
			return text, nil
		}
		text = text[:len(text)+n]
	}
	return nil, fmt.Errorf("%s: %w: more than %d bytes", path, errGarbled, longest)
}

// retried makes a call again that a signal has interrupted.
func retried(call func() (int, error)) (int, error) {
	for {
		n, err := call()
		if !errors.Is(err, unix.EINTR) {
			return n, err
		}
	}
}

func parseNumber(text []byte) (float64, error) {
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(text)), 64)
	switch {
	case err != nil && !errors.Is(err, strconv.ErrRange):
		return 0, fmt.Errorf("%w: %q", errGarbled, text)
	case math.IsNaN(v) || math.IsInf(v, 0):
		return 0, fmt.Errorf("%w: %q", errNumber, text)
	}
	return v, nil
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
	if errors.Is(err, errGarbled) || errors.Is(err, io.ErrUnexpectedEOF) {
		return reading.Garbled
	}
	return reading.Fault
}
