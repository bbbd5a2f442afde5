package upkeep

import "time"

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
	f := v.outlook(list, p).Repack
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
	case f.Known && recorded >= leastAdjusted:
		l.due = f.Mid-at <= lead
	case recorded < leastAdjusted:
		l.due = false
	}
	if j.RepackDue = l.due; l.due {
		j.RepackWhy = f.Words
	}
	return j
}
