package agent

import (
	"context"
	"runtime"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/recording"
)

// supply gives the rows of a recording, those read together at once; they are
// valid until the next call.
type supply interface {
	next() (rowBatch, error)
	stop()
}

// batchReader is a Recorded that reads many rows at a time.
type batchReader interface {
	Read(b *recording.Batch) error
}

// newSupply reads ahead where there is another processor for it. Without
// stretches it gives rows alone.
func newSupply(ctx context.Context, r Recorded, stretches bool) supply {
	in, ok := r.(batchReader)
	if ok && !stretches {
		in = unrolled{in}
	}
	switch {
	case !ok:
		return &singly{from: r}
	case runtime.GOMAXPROCS(0) > 1:
		return newAhead(ctx, in)
	}
	return &inTurn{from: in, batch: recording.NewBatch(inTurnRows)}
}

// unrolled gives stretches row by row.
type unrolled struct{ batchReader }

func (u unrolled) Read(b *recording.Batch) error {
	err := u.batchReader.Read(b)
	b.Unroll()
	return err
}

const (
	inTurnRows   = 1024 // at most 24 KiB: they stay in the first-level cache
	aheadRows    = 2048 // enough for handing over to cost nothing
	aheadBatches = 4    // batches
)

func rowsOf(b *recording.Batch) rowBatch {
	return rowBatch{rows: b.Rows, stretch: &b.Stretch, of: b.Of, points: b.Points, where: b.Where}
}

// inTurn reads when asked.
type inTurn struct {
	from  batchReader
	batch *recording.Batch
}

func (s *inTurn) next() (rowBatch, error) {
	if err := s.from.Read(s.batch); err != nil {
		return rowBatch{}, err
	}
	return rowsOf(s.batch), nil
}

func (*inTurn) stop() {}

// singly takes the rows of a Recorded one by one.
type singly struct {
	from   Recorded
	row    [1]reading.Row
	points []reading.Point
	places map[reading.Point]uint16
}

func (s *singly) next() (rowBatch, error) {
	r, err := s.from.Next()
	if err != nil {
		return rowBatch{}, err
	}
	place, known := s.places[r.Point]
	if !known {
		if s.places == nil {
			s.places = make(map[reading.Point]uint16)
		}
		place = uint16(len(s.points))
		s.places[r.Point] = place
		s.points = append(s.points, r.Point)
	}
	s.row[0] = reading.Row{At: r.At, Value: r.Value, Point: place, Kind: r.Point.Kind, Quality: r.Quality}
	return rowBatch{rows: s.row[:], points: s.points, where: func(int) string { return s.from.Where() }}, nil
}

func (*singly) stop() {}

// ahead reads in a goroutine of its own.
type ahead struct {
	ctx        context.Context
	full, free chan *recording.Batch
	given      *recording.Batch
	err        error // why full was closed
	quit, done chan struct{}
}

func newAhead(ctx context.Context, from batchReader) *ahead {
	a := &ahead{
		ctx: ctx, full: make(chan *recording.Batch, aheadBatches), free: make(chan *recording.Batch, aheadBatches),
		quit: make(chan struct{}), done: make(chan struct{}),
	}
	for range aheadBatches {
		a.free <- recording.NewBatch(aheadRows)
	}
	go a.run(from)
	return a
}

func (a *ahead) run(from batchReader) {
	defer close(a.done)
	defer close(a.full)
	for {
		var b *recording.Batch
		select {
		case <-a.quit:
			return
		case b = <-a.free:
		}
		if a.err = from.Read(b); a.err != nil {
			return
		}
		a.full <- b // has room for all there are
	}
}

func (a *ahead) next() (rowBatch, error) {
	if a.given != nil {
		a.free <- a.given
		a.given = nil
	}
	select {
	case <-a.ctx.Done():
		return rowBatch{}, context.Cause(a.ctx)
	case b, more := <-a.full:
		if !more {
			return rowBatch{}, a.err
		}
		a.given = b
		return rowsOf(b), nil
	}
}

// stopWithin bounds the wait for a read that does not end, as of a terminal.
const stopWithin = time.Second

func (a *ahead) stop() {
	close(a.quit)
	select {
	case <-a.done:
	case <-time.After(stopWithin):
	}
}
