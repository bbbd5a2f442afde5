package store

import (
	"cmp"
	"container/heap"
	"context"

	"weepd/rules/reading"
)

// inOrder hands the readings of a run to do, in the order in which the core was
// told, up to a steady time. It skips pieces that surely end before the first.
// A stretch is an hour at the most: so much of each point is in memory.
func (h *history) inOrder(ctx context.Context, r *run, first, last int64, do func(reading.Reading) error) error {
	var open opened
	pieces := r.pieces
	for len(pieces) > 0 || len(open) > 0 {
		if len(pieces) > 0 && (len(open) == 0 || pieces[0].start-slack <= int64(open[0].rest[0].At)) {
			p := pieces[0]
			pieces = pieces[1:]
			if p.start+int64(longestReadings)+slack < first || p.start-slack > last {
				continue
			}
			list, err := h.load(ctx, p)
			if err != nil {
				return err
			}
			if len(list) > 0 {
				heap.Push(&open, stretchOpen{p.id, list})
			}
			continue
		}
		top := &open[0]
		one := top.rest[0]
		if top.rest = top.rest[1:]; len(top.rest) == 0 {
			heap.Pop(&open)
		} else {
			heap.Fix(&open, 0)
		}
		if at := int64(one.At); at < first || at > last {
			continue
		}
		if err := do(one); err != nil {
			return err
		}
	}
	return nil
}

// stretchOpen is a stretch of which some readings are still to come.
type stretchOpen struct {
	id   int64
	rest []reading.Reading
}

type opened []stretchOpen

func (o opened) Len() int { return len(o) }
func (o opened) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(o[i].rest[0].At, o[j].rest[0].At), cmp.Compare(o[i].id, o[j].id)) < 0
}
func (o opened) Swap(i, j int) { o[i], o[j] = o[j], o[i] }
func (o *opened) Push(x any)   { *o = append(*o, x.(stretchOpen)) }
func (o *opened) Pop() any {
	last := len(*o) - 1
	x := (*o)[last]
	*o = (*o)[:last]
	return x
}
