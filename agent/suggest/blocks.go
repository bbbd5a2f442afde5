package suggest

import (
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// blockTime is how finely a record is looked at.
const blockTime = 10 * time.Minute

// block is ten minutes of a gland.
type block struct {
	index int64 // time / blockTime
	drops float64
	rise  float64 // mean, °C
	rises int
	temps int
	good  bool // watched from end to end, turning, drops believed
}

// history is a gland in blocks, and its alarms.
type history struct {
	blocks   []block
	now      block
	begun    bool
	atRest   bool
	fitted   rules.Fitted // what has rows
	temp     float64
	ref      float64
	hasTemp  bool
	hasRef   bool
	sawRise  bool
	turning  time.Duration
	alarms   []span // of any condition, with what is in force
	open     int    // of these
	openFrom time.Duration
}

type span struct{ from, to time.Duration }

// past follows all glands.
type past struct {
	glands  map[string]*history
	last    time.Duration
	any     bool
	watched time.Duration
}

func newPast(glands []rules.GlandConfig) *past {
	p := &past{glands: make(map[string]*history, len(glands))}
	for _, g := range glands {
		p.glands[g.ID] = &history{}
	}
	return p
}

// row takes the next row, in order of time.
func (p *past) row(r reading.Reading) {
	if p.any {
		step := r.At - p.last
		gap := step > rules.MaxSilence
		if !gap {
			p.watched += step
		}
		for _, h := range p.glands {
			h.pass(r.At, step, gap)
		}
	}
	p.last, p.any = r.At, true
	if h := p.glands[r.Point.Gland]; h != nil {
		h.take(r)
	}
}

// pass moves a gland's time on.
func (h *history) pass(at, step time.Duration, gap bool) {
	if !h.begun {
		return
	}
	if gap {
		h.now.good = false
	} else if !h.atRest {
		h.turning += step
	}
	if index := int64(at / blockTime); index != h.now.index {
		h.blocks = append(h.blocks, h.now)
		h.now = block{index: index, good: !gap && !h.atRest}
	}
}

func (h *history) take(r reading.Reading) {
	if !h.begun {
		h.begun = true
		h.now = block{index: int64(r.At / blockTime)} // a part only: not good
	}
	if !r.Point.Kind.Mark() {
		h.fitted[r.Point.Kind] = true
	}
	switch r.Point.Kind {
	case reading.Drip:
		if r.Quality.OK() {
			h.now.drops += r.Value
		} else {
			h.now.good = false
		}
	case reading.Run:
		h.atRest = !r.Quality.OK() || r.Value == 0
		h.now.good = h.now.good && !h.atRest
	case reading.Temp:
		h.temp, h.hasTemp = r.Value, r.Quality.OK()
		h.now.temps++
		h.noteRise()
	case reading.Ref:
		h.ref, h.hasRef = r.Value, r.Quality.OK()
	default: // tells nothing of weep or heat
	}
}

func (h *history) noteRise() {
	if h.hasTemp && h.hasRef {
		h.now.rises++
		h.sawRise = true
		h.now.rise += (h.temp - h.ref - h.now.rise) / float64(h.now.rises)
	}
}

// transition takes a transition of what is in force.
func (h *history) transition(t rules.Transition) {
	if t.Active {
		if h.open++; h.open == 1 {
			h.openFrom = t.At
		}
		return
	}
	if h.open--; h.open == 0 {
		h.alarms = append(h.alarms, span{h.openFrom, t.At})
	}
}

// quiet gives the blocks that are good and clear of alarms, with a block between.
func (h *history) quiet(end time.Duration) []block {
	alarms := slices.Clone(h.alarms)
	if h.open > 0 {
		alarms = append(alarms, span{h.openFrom, end})
	}
	var list []block
	i := 0
	for _, b := range h.blocks {
		from, to := time.Duration(b.index)*blockTime, time.Duration(b.index+1)*blockTime
		for i < len(alarms) && alarms[i].to+blockTime < from {
			i++
		}
		if b.good && (i == len(alarms) || alarms[i].from >= to+blockTime) {
			list = append(list, b)
		}
	}
	return list
}

// quantile of values, which it sorts.
func quantile(values []float64, p float64) float64 {
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	return values[int(p*float64(len(values)-1)+0.5)]
}
