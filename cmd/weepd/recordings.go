package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"weepd/agent"
	"weepd/sensors/recording"
)

// recordings opens the recordings of a command line, as often as needed:
// standard input is kept in a temporary file, packed as it came.
type recordings struct {
	stdin io.Reader
	paths []string

	spool   *os.File
	readers []*recording.Reader
}

// open opens all from their start and closes those opened before.
func (r *recordings) open() ([]agent.Recorded, error) {
	if err := r.closeReaders(); err != nil {
		return nil, err
	}
	var list []agent.Recorded
	for _, path := range r.paths {
		reader, err := r.openOne(path)
		if err != nil {
			return nil, err
		}
		r.readers = append(r.readers, reader)
		list = append(list, reader)
	}
	return list, nil
}

func (r *recordings) openOne(path string) (*recording.Reader, error) {
	if path != "-" {
		return recording.Open(path)
	}
	if r.spool == nil {
		if err := r.keep(); err != nil {
			return nil, fmt.Errorf("keep standard input in a temporary file: %w", err)
		}
	}
	if _, err := r.spool.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	return recording.NewReader("stdin", r.spool)
}

func (r *recordings) keep() (err error) {
	if r.spool, err = os.CreateTemp("", "weepd-stdin-*"); err != nil {
		return err
	}
	_, err = io.Copy(r.spool, r.stdin)
	return err
}

func (r *recordings) closeReaders() error {
	var errs []error
	for _, reader := range r.readers {
		errs = append(errs, reader.Close())
	}
	r.readers = nil
	return errors.Join(errs...)
}

func (r *recordings) close() error {
	err := r.closeReaders()
	if r.spool != nil {
		err = errors.Join(err, r.spool.Close(), os.Remove(r.spool.Name()))
	}
	return err
}
