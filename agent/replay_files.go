package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"weepd/rules"
	"weepd/sensors/recording"
)

// recordedFiles opens recordings by name, as often as needed: standard input is
// kept in a temporary file, packed as it came, unless once is enough.
type recordedFiles struct {
	stdin io.Reader
	paths []string
	once  bool

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
	if r.once {
		return recording.NewReader("stdin", r.stdin)
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
	return FilesReplay{Config: cfg, Stdin: stdin, Tally: tally, Tell: tell}.Run(ctx, paths)
}

// FilesReplay is ReplayFiles with all that can be said.
type FilesReplay struct {
	Config   rules.Config
	Stdin    io.Reader
	Tally    *ReplayTally
	Tell     func(rules.Transition) error
	Progress *ReplayProgress // may be nil
}

// Run replays recordings by name.
func (p FilesReplay) Run(ctx context.Context, paths []string) (rows int64, err error) {
	opened := recordedFiles{stdin: p.Stdin, paths: paths, once: !infers(p.Config)}
	defer func() { err = errors.Join(err, opened.close()) }()
	found, err := opened.open()
	if err != nil {
		return 0, err
	}
	cfg := p.Config
	if !opened.once {
		cfg = FitRecorded(cfg, found...)
		if found, err = opened.open(); err != nil { // the second reading starts over
			return 0, err
		}
	}
	p.Progress.begin(opened.readers, opened.size())
	if opened.again() && len(cfg.Glands)+len(paths) > 2 {
		r, err := replayApart(ctx, cfg, p.Progress, opened.readers)
		if !errors.Is(err, errTogether) {
			return p.tellAll(ctx, r, err)
		}
		if found, err = opened.open(); err != nil { // this reading starts over too
			return 0, err
		}
		p.Progress.begin(opened.readers, opened.size())
	}
	station, err := rules.NewStation(cfg)
	if err != nil {
		return 0, err
	}
	return Replay{
		Core: station, Tally: p.Tally, Progress: p.Progress,
		Transition: func(t rules.Transition) error {
			p.Tally.Transition(t)
			return p.Tell(t)
		},
	}.Run(ctx, found...)
}

// tellAll tells what came of a replay apart.
func (p FilesReplay) tellAll(ctx context.Context, r apartResult, err error) (rows int64, _ error) {
	if err != nil {
		return r.rows, fmt.Errorf("replay stopped after %d rows: %w", r.rows, context.Cause(ctx))
	}
	p.Tally.join(r)
	for _, t := range r.transitions {
		p.Tally.Transition(t)
		if err := p.Tell(t); err != nil {
			return r.rows, err
		}
	}
	return r.rows, nil
}

// again reports that the recordings can be read once more from their start.
func (r *recordedFiles) again() bool {
	return !r.once || !slices.Contains(r.paths, "-")
}

// infers reports a gland whose shaft is inferred unless a recording has its run
// rows, which must then be looked for first. The core asks nothing else of what
// is fitted.
func infers(cfg rules.Config) bool {
	return slices.ContainsFunc(cfg.Glands, func(g rules.GlandConfig) bool { return g.InferShaft })
}

// size is the bytes of all files; 0 if one of them has no size.
func (r *recordedFiles) size() (total int64) {
	for _, path := range r.paths {
		info, err := os.Stat(path)
		if path == "-" || err != nil || !info.Mode().IsRegular() {
			return 0
		}
		total += info.Size()
	}
	return total
}
