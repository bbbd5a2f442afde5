package proof

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
)

// Quiet plays scenes 0 to scenes-1, a year each, that the state file does not
// hold yet, and adds each to it as it ends, so that a run can be broken off
// and resumed. done is told of each.
type Quiet struct {
	Scenes  int
	Days    float64 // of a scene; a year unless it is a test
	Workers int
	State   string // file of JSON lines, one a scene
	Done    func(Year)
}

// Run gives the years of all the scenes, in no order.
func (q Quiet) Run(ctx context.Context) (years []Year, err error) {
	file, years, err := openState(q.State)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	known := make(map[int]bool)
	for _, y := range years {
		if y.Scene != NewScene(y.Scene.Index) || y.Years != q.Days/yearDays {
			return nil, fmt.Errorf("%s: scene %d is of other scenes or lengths; take a new file", q.State, y.Scene.Index)
		}
		known[y.Scene.Index] = true
	}
	fresh, err := q.play(ctx, known, file)
	kept := years[:0]
	for _, y := range append(years, fresh...) {
		if y.Scene.Index < q.Scenes {
			kept = append(kept, y)
		}
	}
	return kept, err
}

// play has the workers play what is not known.
func (q Quiet) play(ctx context.Context, known map[int]bool, state io.Writer) (fresh []Year, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	work := make(chan int)
	var mu sync.Mutex
	var workers sync.WaitGroup
	for range q.Workers {
		workers.Go(func() {
			for i := range work {
				y, bad := NewScene(i).Run(ctx, q.Days)
				mu.Lock()
				if bad == nil {
					bad = appendYear(state, y)
				}
				if bad == nil {
					fresh = append(fresh, y)
					q.Done(y)
				} else {
					err = errors.Join(err, bad)
					stop()
				}
				mu.Unlock()
			}
		})
	}
	for i := range q.Scenes {
		if known[i] {
			continue
		}
		select {
		case work <- i:
		case <-ctx.Done():
		}
	}
	close(work)
	workers.Wait()
	if err == nil {
		err = ctx.Err()
	}
	return fresh, err
}

func appendYear(w io.Writer, y Year) error {
	line, err := json.Marshal(y)
	if err != nil {
		return err
	}
	_, err = w.Write(append(line, '\n'))
	return err
}

// openState opens or makes a state file and reads what it holds; a last line
// that was cut off is taken away.
func openState(name string) (*os.File, []Year, error) {
	file, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, nil, err
	}
	years, whole, err := readState(file)
	if err == nil {
		err = file.Truncate(whole)
	}
	if err == nil {
		_, err = file.Seek(whole, io.SeekStart)
	}
	if err != nil {
		return nil, nil, errors.Join(fmt.Errorf("%s: %w", name, err), file.Close())
	}
	return file, years, nil
}

func readState(r io.Reader) (years []Year, whole int64, err error) {
	lines := bufio.NewReader(r)
	for n := 1; ; n++ {
		line, err := lines.ReadBytes('\n')
		if err == io.EOF {
			return years, whole, nil
		}
		if err != nil {
			return nil, 0, err
		}
		var y Year
		d := json.NewDecoder(bytes.NewReader(line))
		d.DisallowUnknownFields()
		if err := d.Decode(&y); err != nil {
			return nil, 0, fmt.Errorf("line %d: %w", n, err)
		}
		years = append(years, y)
		whole += int64(len(line))
	}
}
