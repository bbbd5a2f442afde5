package upkeep

import (
	"fmt"
	"math"
	"time"
)

// Judgement is what of a gland's upkeep is an alarm.
type Judgement struct {
	Ineffective    bool
	IneffectiveWhy string
	RepackDue      bool
	RepackWhy      []string
}

const (
	// repackLead is how long before a packing is spent it is said, to have
	// packing, people and a stop of the pump by then. No source.
	repackLead = 14 * 24 * time.Hour
	// leastAdjusted is how many recorded adjustments a judgement by their course
	// needs.
	leastAdjusted = leastIntervals + 1
)

// Judge says which alarms hold. A packing once due stays so until it is changed
// or the outlook is twice as long: a forecast breathes.
func (l *Life) Judge(at time.Duration) Judgement {
	v := l.view(at, l.effective())
	list, p := v.adjustments(), v.packing()
	var j Judgement
	j.Ineffective, j.IneffectiveWhy = v.ineffective(list)
	f, left := v.repackDue(list, p, v.toLimit())
	recorded := 0
	for _, a := range list {
		if a.Recorded {
			recorded++
		}
	}
	lead := repackLead
	if l.due {
		lead *= 2
	}
	switch {
	case recorded == 0:
		l.due = false
	case f.Now:
		l.due = true
	case p.Travel.Known && v.lastTravel(list, p):
		l.due = true
		f.Words = []string{fmt.Sprintf("the follower has travel for about one more adjustment: %.1f of %.1f mm are used", p.Travel.UsedMM, p.Travel.OfMM)}
	case recorded < leastAdjusted:
		l.due = false
	case !math.IsInf(left, 1):
		l.due = days(left) <= lead
	}
	if j.RepackDue = l.due; l.due {
		j.RepackWhy = f.Words
	}
	return j
}

// lastTravel reports travel for no more than an adjustment as the last ones were.
func (v *view) lastTravel(list []Adjustment, p Packing) bool {
	c := courseOf(list)
	each := 1.0
	if n := len(c.flats); n > 0 {
		each = min(medianOf(c.flats[max(0, n-lastFlats):]), usualTurns)
	}
	return (p.Travel.OfMM-p.Travel.UsedMM)/v.cfg.Nuts.MMPerFlat() < 1+each
}

const lastFlats = 4 // adjustments that say how many flats the next takes
