package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"weepd/rules"
	"weepd/sensors/recording"
)

// recordedFiles opens recordings by name, as often as needed:
// standard input is kept in a temporary file, packed as it came.
type recordedFiles struct {
	stdin io.Reader
	paths []string

	spool   *os.File
	readers []*recording.Reader
}

// open opens all from their start and closes those opened before.
func (r *recordedFiles) open() ([]Recorded, error) {
	if err := r.closeReaders(); err != nil {
		return nil, err
	}
	var list []Recorded
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

func (r *recordedFiles) openOne(path string) (*recording.Reader, error) {
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

func (r *recordedFiles) keep() (err error) {
	if r.spool, err = os.CreateTemp("", "weepd-stdin-*"); err != nil {
		return err
	}
	_, err = io.Copy(r.spool, r.stdin)
	return err
}

func (r *recordedFiles) closeReaders() error {
	var errs []error
	for _, reader := range r.readers {
		errs = append(errs, reader.Close())
	}
	r.readers = nil
	return errors.Join(errs...)
}

func (r *recordedFiles) close() error {
	err := r.closeReaders()
	if r.spool != nil {
		err = errors.Join(err, r.spool.Close(), os.Remove(r.spool.Name()))
	}
	return err
}

// ReplayFiles replays recordings by name, "-" being stdin (at most once), with
// the points fitted that they hold. Each row and transition is counted by
// tally, and each transition told before the next row. It returns how many
// rows were fed, all of them before an error.
func ReplayFiles(ctx context.Context, stdin io.Reader, cfg rules.Config, paths []string,
	tally *ReplayTally, tell func(rules.Transition) error,
) (rows int64, err error) {
	opened := recordedFiles{stdin: stdin, paths: paths}
	defer func() { err = errors.Join(err, opened.close()) }()
	found, err := opened.open()
	if err != nil {
		return 0, err
	}
	cfg = FitRecorded(cfg, found...)
	// The second reading starts over.
	if found, err = opened.open(); err != nil {
		return 0, err
	}
	station, err := rules.NewStation(cfg)
	if err != nil {
		return 0, err
	}
	return Replay{
		Core: station,
		Row:  tally.Row,
		Transition: func(t rules.Transition) error {
			tally.Transition(t)
			return tell(t)
		},
	}.Run(ctx, found...)
}
