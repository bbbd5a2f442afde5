package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"weepd/rules/reading"
)

// piece is a stretch of readings without its data.
type piece struct {
	id     int64
	start  int64 // steady, ns; a little late where the id had to move on
	offset int64
	life   int64
}

// run is the readings of one run of the agent: from its start, or from the
// oldest that is kept, to its end.
type run struct {
	pieces []piece // in order of steady time
	last   int64   // steady time of the last reading, ns
	shown  int64   // what a recording's time is ahead of the steady one, ns
	whole  bool    // it begins with the agent's start
	moved  time.Duration
}

func (r *run) first() int64                { return r.pieces[0].start }
func (r *run) wall(steady int64) time.Time { return time.Unix(0, steady+r.shown).UTC() }

// runs finds the runs of the agent, oldest first.
func (h *history) runs(ctx context.Context) ([]run, error) {
	pieces, err := h.pieces(ctx)
	if err != nil {
		return nil, err
	}
	var out []run
	for len(pieces) > 0 {
		n := 1
		for n < len(pieces) && pieces[n].life == pieces[0].life {
			n++
		}
		part := pieces[:n]
		pieces = pieces[n:]
		begins, last, err := h.look(ctx, part)
		if err != nil {
			return nil, err
		}
		if before := len(out) - 1; before >= 0 && !begins && part[0].start > out[before].last { // a store opened again by the same run
			out[before].pieces, out[before].last = append(out[before].pieces, part...), last
			continue
		}
		out = append(out, run{pieces: part, last: last, whole: begins})
	}
	place(out)
	return out, nil
}

// pieces lists all stretches of readings, in order of life and steady time.
func (h *history) pieces(ctx context.Context) (out []piece, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	rows, err := h.db.QueryContext(ctx, "SELECT id, offset_ns, life FROM reading ORDER BY id")
	err = each(rows, err, func() error {
		var p piece
		if err := rows.Scan(&p.id, &p.offset, &p.life); err != nil {
			return err
		}
		p.start = p.id - p.offset
		out = append(out, p)
		return nil
	})
	slices.SortStableFunc(out, func(a, b piece) int { return cmp.Or(cmp.Compare(a.life, b.life), cmp.Compare(a.start, b.start)) })
	return out, err
}

// look says whether the pieces of one life begin with the agent's start, and
// when their last reading was.
func (h *history) look(ctx context.Context, pieces []piece) (begins bool, last int64, err error) {
	first := int64(0)
	for i, p := range pieces {
		head := p.start <= pieces[0].start+slack
		tail := p.start >= pieces[len(pieces)-1].start-int64(longestReadings)
		if !head && !tail {
			continue
		}
		list, err := h.load(ctx, p)
		if err != nil {
			return false, 0, err
		}
		for j, r := range list {
			last = max(last, int64(r.At))
			if i == 0 && j == 0 || int64(r.At) < first {
				first = int64(r.At)
				begins = r.Point.Kind == reading.Watch && r.Value == 1
			}
		}
	}
	return begins, last, nil
}

// place says which times a recording gives. Within a run the offset that held
// for most of its stretches counts: a clock that was set soon after the start is
// right since. A run that the wall clock puts before the end of another is moved
// on, as a recording never goes back.
func place(runs []run) {
	end := int64(0)
	for i := range runs {
		r := &runs[i]
		r.shown = usual(r.pieces)
		if i > 0 && r.first()-slack+r.shown <= end {
			moved := end + int64(time.Second) - (r.first() - slack + r.shown)
			r.shown, r.moved = r.shown+moved, time.Duration(moved)
		}
		end = r.last + r.shown
	}
}

// slack is more than an id ever moved on.
const slack = int64(time.Millisecond)

// sameClock is how far offsets of one setting of the clock lie apart: more
// would have been a step.
const sameClock = int64(2 * time.Second)

// usual is the newest offset of the setting of the clock that most pieces have.
func usual(pieces []piece) int64 {
	most, best := 0, pieces[0].offset
	for i := 0; i < len(pieces); {
		n := i + 1
		for n < len(pieces) && pieces[n].offset-pieces[n-1].offset <= sameClock && pieces[n-1].offset-pieces[n].offset <= sameClock {
			n++
		}
		if n-i > most {
			most, best = n-i, pieces[n-1].offset
		}
		i = n
	}
	return best
}

// load reads a piece; one that was deleted meanwhile is empty.
func (h *history) load(ctx context.Context, p piece) ([]reading.Reading, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	rows, err := h.db.QueryContext(ctx, "SELECT s.name, t.data FROM reading t JOIN series s ON s.id=t.series WHERE t.id=?", p.id)
	var out []reading.Reading
	err = each(rows, err, func() error {
		var name string
		var data []byte
		if err := rows.Scan(&name, &data); err != nil {
			return err
		}
		point, err := reading.ParsePoint(name)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrCorrupt, err)
		}
		values, err := decodeValues(data)
		for _, v := range values {
			out = append(out, reading.Reading{At: v.at, Point: point, Value: v.value, Quality: v.quality})
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", historyFile, err)
	}
	return out, nil
}
