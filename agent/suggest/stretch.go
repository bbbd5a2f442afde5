package suggest

import (
	"sort"
	"time"

	"weepd/rules/reading"
)

const (
	// leadTime is how much of a quiet stretch the detector learns from before the
	// change is injected, afterTime what is left for it to be found.
	leadTime  = 2 * time.Hour
	afterTime = time.Hour
	// mostStretches are tried of a gland; leastStretches are needed.
	mostStretches  = 8
	leastStretches = 4
)

// stretch is a quiet part of the record, for injecting changes.
type stretch struct {
	from time.Duration
	rows []reading.Reading
}

func (s *stretch) onset() time.Duration { return s.from + leadTime }
func (s *stretch) end() time.Duration   { return s.onset() + afterTime }

// stretches picks quiet stretches that do not overlap, spread evenly over the
// record.
func stretches(quiet []block) []*stretch {
	const blocks = int((leadTime + afterTime) / blockTime)
	var all []*stretch
	run := 0
	for i, b := range quiet {
		if i > 0 && b.index == quiet[i-1].index+1 {
			run++
		} else {
			run = 1
		}
		if run == blocks {
			all = append(all, &stretch{from: time.Duration(b.index+1-int64(blocks)) * blockTime})
			run = 0
		}
	}
	if len(all) <= mostStretches {
		return all
	}
	var some []*stretch
	for i := range mostStretches {
		some = append(some, all[i*(len(all)-1)/(mostStretches-1)])
	}
	return some
}

// steady leaves out blocks whose weep is less than half or more than twice the
// middle one's: not every change raises an alarm.
func steady(quiet []block) []block {
	var drops []float64
	for _, b := range quiet {
		drops = append(drops, b.drops)
	}
	middle := quantile(drops, 0.5)
	var list []block
	for _, b := range quiet {
		if b.drops >= middle/2 && b.drops <= 2*middle {
			list = append(list, b)
		}
	}
	return list
}

// collect gives the stretches their rows. Rows come in order of time.
func collect(list []*stretch, r reading.Reading) {
	i := sort.Search(len(list), func(i int) bool { return list[i].end() > r.At })
	if i < len(list) && r.At >= list[i].from {
		list[i].rows = append(list[i].rows, r)
	}
}

// leadDPM is the weep of a stretch before the onset.
func (s *stretch) leadDPM() float64 {
	drops := 0.0
	for _, r := range s.rows {
		if r.Point.Kind == reading.Drip && r.Quality.OK() && r.At < s.onset() {
			drops += r.Value
		}
	}
	return drops / leadTime.Minutes()
}

// leastRows of what a limit watches must lie before an onset for anything to be
// learned from it.
const leastRows = 30

// usable leaves out stretches with next to no drops, or temperatures.
func usable(all []*stretch, l Limit) []*stretch {
	kind := reading.Drip
	if l == Rise {
		kind = reading.Temp
	}
	var list []*stretch
	for _, s := range all {
		n := 0
		for _, r := range s.rows {
			if r.Point.Kind == kind && r.At < s.onset() && (l == Rise || r.Value > 0) {
				n++
			}
		}
		if n >= leastRows {
			list = append(list, s)
		}
	}
	return list
}
