package agent

import (
	"context"
	"errors"
	"io"
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors/recording"
)

// apartFile reads one recording and deals its rows out.
type apartFile struct {
	*apart
	number int
	from   *recording.Reader
	free   chan *recording.Batch
	points []*apartGland // by a row's point
	all    []*apartGland
	last   time.Duration
	begun  bool
	ticked time.Duration
}

const (
	packetRows = 2048
	tickEvery  = 20 * time.Second // well within rules.MaxSilence
)

func (f *apartFile) run() error {
	for range aheadBatches {
		f.free <- recording.NewBatch(aheadRows)
	}
	for f.ctx.Err() == nil {
		b := <-f.free
		err := f.from.Read(b)
		if errors.Is(err, io.EOF) {
			return f.end()
		}
		if err != nil {
			return errTogether
		}
		if err := f.deal(b); err != nil {
			return err
		}
		f.watched.reached(f.number, f.last)
	}
	return context.Cause(f.ctx)
}

func (f *apartFile) deal(b *recording.Batch) error {
	for i := len(f.points); i < len(b.Points); i++ {
		g, err := f.claim(b.Points[i].Gland, f.number)
		if err != nil {
			return err
		}
		f.points = append(f.points, g)
		if !slices.Contains(f.all, g) {
			f.all = append(f.all, g)
			g.heard = f.last
		}
	}
	if b.Stretch.Rows() > 0 {
		return f.dealStretch(b)
	}
	for i := range b.Rows {
		row := &b.Rows[i]
		if err := f.until(row.At); err != nil {
			return err
		}
		g := f.points[row.Point]
		g.rows = append(g.rows, *row)
		g.heard = row.At
		if len(g.rows) >= packetRows {
			g.send()
		}
	}
	f.free <- b
	return nil
}

func (f *apartFile) dealStretch(b *recording.Batch) error {
	first, _ := b.Stretch.Row(reading.Cursor{})
	if err := f.until(first.At); err != nil {
		return err
	}
	g := f.points[b.Of[reading.Drip]]
	if len(b.Stretch.Drops) == 0 {
		g = f.points[b.Of[first.Kind]]
	}
	var last time.Duration
	for at := (reading.Cursor{}); len(f.all) > 1 && at != b.Stretch.End(); {
		var row reading.Row
		row, at = b.Stretch.Row(at)
		g.heard = row.At
		if err := f.until(row.At); err != nil {
			return err
		}
	}
	if n := len(b.Stretch.Drops); n > 0 {
		last = b.Stretch.Drops[n-1]
	}
	if n := len(b.Stretch.Warms); n > 0 {
		last = max(last, b.Stretch.Warms[n-1].At)
	}
	f.last, g.heard = last, last
	g.send()
	g.work <- packet{of: g, batch: b, back: f.free}
	return nil
}

// until passes the recording's time up to a row.
func (f *apartFile) until(at time.Duration) error {
	if !f.begun {
		f.begun, f.last, f.ticked = true, at, at
		f.watched.began(f.number, at)
		return nil
	}
	if at-f.last > rules.MaxSilence {
		if err := f.pass(f.last, at); err != nil {
			return err
		}
	}
	if at-f.last >= tickEvery {
		f.tickLate()
	}
	f.last = at
	if at-f.ticked >= tickEvery && len(f.all) > 1 {
		f.ticked = at
		for _, g := range f.all {
			if at-g.heard >= tickEvery {
				g.tick(at)
			}
		}
	}
	return nil
}

// pass takes time in which this recording says nothing, but maybe others do.
func (f *apartFile) pass(from, to time.Duration) error {
	gaps, err := f.watched.silent(f.number, from, to)
	if err != nil {
		return err
	}
	f.tickLate()
	now := from
	for _, gap := range append(gaps, span{to, to}) {
		for now < gap.from {
			now = min(gap.from, now+tickEvery)
			f.tickAll(now)
		}
		if gap.to > now {
			now = gap.to
			f.tickAll(now)
		}
	}
	return nil
}

func (f *apartFile) tickAll(at time.Duration) {
	for _, g := range f.all {
		g.tick(at)
	}
}

// tickLate brings glands that said less lately up to the recording's last row.
func (f *apartFile) tickLate() {
	for _, g := range f.all {
		if g.heard < f.last {
			g.tick(f.last)
		}
	}
}

// end passes on to the last row of all recordings.
func (f *apartFile) end() error {
	f.tickLate()
	f.watched.ended(f.number, f.last)
	last, err := f.watched.endOfAll()
	if err != nil {
		return err
	}
	if f.begun && last > f.last {
		if err := f.pass(f.last, last); err != nil {
			return err
		}
	}
	for _, g := range f.all {
		g.send()
	}
	return nil
}
