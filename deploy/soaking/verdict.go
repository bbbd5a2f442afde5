package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// arrivals is what a subscriber got, in the order of arrival.
type arrivals struct {
	first     map[uint64]string // text of the first delivery of each seq
	newest    uint64
	doubles   int
	reordered []uint64 // first deliveries after a newer one
	changed   []uint64 // deliveries that differ from an earlier one
}

func newArrivals() *arrivals { return &arrivals{first: make(map[uint64]string)} }

func (a *arrivals) add(e event) {
	old, again := a.first[e.seq]
	switch {
	case again && old != e.text:
		a.changed = append(a.changed, e.seq)
	case again:
		a.doubles++
	default:
		a.first[e.seq] = e.text
		if e.seq < a.newest {
			a.reordered = append(a.reordered, e.seq)
		}
		a.newest = max(a.newest, e.seq)
	}
}

// sight is what somebody reads of the journal now and then.
type sight struct {
	seen    map[uint64]string
	newest  uint64
	changed []uint64
}

func newSight() *sight { return &sight{seen: make(map[uint64]string)} }

func (s *sight) add(e event) {
	if old, again := s.seen[e.seq]; again && old != e.text {
		s.changed = append(s.changed, e.seq)
	}
	s.seen[e.seq] = e.text
	s.newest = max(s.newest, e.seq)
}

// verdict holds all against the journal as it is in the end.
type verdict struct {
	events, lost, reordered, changed int
	words                            []string
}

func (v *verdict) count(number *int, list []uint64, what string) {
	if len(list) == 0 {
		return
	}
	*number += len(list)
	slices.Sort(list)
	v.words = append(v.words, fmt.Sprintf("%d %s: seq %v", len(list), what, list[:min(len(list), 20)]))
}

// err is nil if all is well.
func (v *verdict) err() error {
	if v.lost+v.reordered+v.changed == 0 {
		return nil
	}
	return errors.New(strings.Join(v.words, "\n"))
}

// judge compares the journal with what the subscriber got, what readers saw on
// the way, and the commands that were answered.
func judge(journal []event, got *arrivals, seen *sight, commands []string) *verdict {
	v := &verdict{events: len(journal)}
	var missing, gap, gone, unlike []uint64
	held := make(map[uint64]string, len(journal))
	carried := make(map[string]int)
	for i, e := range journal {
		held[e.seq] = e.text
		if e.command != "" {
			carried[e.command]++
		}
		if i > 0 && e.seq != journal[i-1].seq+1 || i == 0 && e.seq != 1 {
			gap = append(gap, e.seq)
		}
		switch text, arrived := got.first[e.seq]; {
		case !arrived:
			missing = append(missing, e.seq)
		case text != e.text:
			unlike = append(unlike, e.seq)
		}
	}
	for _, read := range []map[uint64]string{got.first, seen.seen} {
		for seq, text := range read {
			if held[seq] == "" {
				gone = append(gone, seq)
			} else if held[seq] != text {
				unlike = append(unlike, seq)
			}
		}
	}
	slices.Sort(unlike)
	v.count(&v.lost, missing, "in the journal, not delivered")
	v.count(&v.lost, gap, "after a gap in the journal")
	v.count(&v.lost, slices.Compact(sorted(gone)), "seen, then gone from the journal")
	v.count(&v.reordered, got.reordered, "delivered after a newer one")
	v.count(&v.changed, slices.Compact(unlike), "not as in the journal")
	v.count(&v.changed, append(got.changed, seen.changed...), "read twice, not the same")
	for _, id := range commands {
		switch n := carried[id]; {
		case n == 0:
			v.lost++
			v.words = append(v.words, "command "+id+" was answered but is not in the journal")
		case n > 1:
			v.changed++
			v.words = append(v.words, fmt.Sprintf("command %s is %d times in the journal", id, n))
		}
	}
	return v
}

func sorted(list []uint64) []uint64 { slices.Sort(list); return list }
