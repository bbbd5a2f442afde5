package upkeep

import (
	"math"
	"time"

	"weepd/rules/weep"
)

// judgeAfter is how long the weep must be watched before an adjustment is
// judged.
const judgeAfter = time.Hour

// nothing is the share of the weep that must come off for a tightening to have
// done anything. No source.
const nothing = 0.1

// handRate is a hand count with Garwood's limits: somebody who counts for a
// minute or two knows nothing of how regular the drops are.
func handRate(drops int, minutes float64) weep.Rate { return weep.Limits(float64(drops), minutes, 1) }

// adjustments judges every adjustment since the repacking.
func (v *view) adjustments() []Adjustment {
	var list []Adjustment
	for i, c := range v.cuts {
		if c.adjust {
			list = append(list, v.adjustment(i, c))
		}
	}
	return list
}

func (v *view) adjustment(i int, c cut) Adjustment {
	before, _ := v.leg(i - 1)
	from, to := v.leg(i)
	a := Adjustment{Seq: c.seq, At: c.at, Recorded: c.recorded, Flats: c.flats}
	a.Before = v.level(v.series.within(max(before, c.from-levelReach), c.from).last(levelSpan))
	a.After = v.level(v.series.within(from, min(to, from+levelReach)).first(levelSpan))
	last := i+1 == len(v.cuts)
	a.Held, a.Holding = v.held(c.at, from, to, last)
	if a.Before.Known && a.After.Known {
		a.CutDPM, a.CutLowDPM, a.CutHighDPM = difference(a.Before.Rate, a.After.Rate)
		if c.flats != 0 {
			a.PerFlatDPM = a.CutDPM / c.flats
		}
	}
	a.Verdict = v.verdict(a, last && v.at < from+levelReach)
	return a
}

// difference of two independent levels with 95 % limits from theirs (Zou and
// Donner 2008, from memory): the distance of each limit is the root of the sum of
// squares of the levels' own.
func difference(a, b weep.Rate) (d, low, high float64) {
	d = a.DPM - b.DPM
	low = d - math.Hypot(a.DPM-a.LowDPM, b.HighDPM-b.DPM)
	high = d + math.Hypot(a.HighDPM-a.DPM, b.DPM-b.LowDPM)
	return d, low, high
}

func (v *view) verdict(a Adjustment, open bool) Verdict {
	if !a.Before.Known {
		return Unseen
	}
	if !a.After.Known || a.After.Watched < judgeAfter {
		if open {
			return NotYet
		}
		return Unseen
	}
	least := nothing * a.Before.DPM
	if a.Flats < 0 { // slackened: more should weep
		switch {
		case a.CutLowDPM > -least:
			return Nothing
		case a.CutHighDPM < 0:
			return Worked
		}
		return Little
	}
	switch {
	case a.After.HighDPM < v.cfg.DryDPM:
		return Over
	case a.CutHighDPM < least:
		return Nothing
	case a.CutLowDPM > 0 && a.After.DPM <= v.cfg.LeakDPM:
		return Worked
	}
	return Little
}

// held is how long the weep stayed under the most allowed: up to the middle of
// the first heldBuckets together that are over it.
func (v *view) held(at, from, to time.Duration, last bool) (time.Duration, bool) {
	leg := v.series.within(from, to)
	for i := range leg {
		if i+1 < heldBuckets {
			continue
		}
		part := leg[i+1-heldBuckets : i+1]
		if all, _ := sum(part); all.DPM() >= v.cfg.LeakDPM {
			return max(0, part.middle()-at), false
		}
	}
	return to - at, last
}

const heldBuckets = 6

// ineffective reports that tightening no longer brings the leak down, and why.
func (v *view) ineffective(list []Adjustment) (bool, string) {
	var tight []Adjustment
	for _, a := range list {
		if a.Flats > 0 && a.Verdict != NotYet && a.Verdict != Unseen {
			tight = append(tight, a)
		}
	}
	now := v.latest()
	n := len(tight)
	if n == 0 || !now.Known || list[len(list)-1].Verdict == NotYet && now.DPM < v.cfg.LeakDPM {
		return false, ""
	}
	last := tight[n-1]
	switch {
	case last.Verdict == Nothing && last.After.DPM > v.cfg.NormalDPM && now.DPM > v.cfg.NormalDPM:
		return true, nothingWords(last)
	case n > 1 && last.After.LowDPM > v.cfg.LeakDPM && tight[n-2].After.LowDPM > v.cfg.LeakDPM && now.DPM > v.cfg.LeakDPM:
		return true, stillOverWords(last, tight[n-2], v.cfg.LeakDPM)
	}
	return false, ""
}
