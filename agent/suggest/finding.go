package suggest

import (
	"cmp"
	"fmt"
	"slices"

	"weepd/rules/reading"
	"weepd/rules/weep"
)

// Finding is what a record shows of one limit of one gland.
type Finding struct {
	Gland   string  `json:"gland"`
	Limit   Limit   `json:"limit"`
	InForce float64 `json:"in_force"`
	Budget  float64 `json:"false_alarms_per_year"`
	Watched float64 `json:"watched_days"` // with the shaft turning, without gaps
	// Usual is the weep, drops per minute, or the rise, °C, of the quiet ten-minute
	// blocks.
	Usual05    float64     `json:"usual_05"`
	Usual50    float64     `json:"usual_50"`
	Usual95    float64     `json:"usual_95"`
	Regularity float64     `json:"regularity"` // as learned in two hours; 1 = at random
	Stretches  int         `json:"quiet_stretches"`
	Enough     bool        `json:"enough"`
	TooLittle  string      `json:"too_little,omitempty"` // what is lacking
	Candidates []Candidate `json:"candidates"`
	Proposal   *Proposal   `json:"proposal"` // nil: none

	tempEvery float64 // s
}

// Candidate is a limit and a budget that were tried.
type Candidate struct {
	Value    float64 `json:"value"`
	Budget   float64 `json:"false_alarms_per_year"`
	InForce  bool    `json:"in_force"`
	Fits     bool    `json:"fits"` // dry below leak below gush
	Alarms   int     `json:"alarms"`
	PerMonth float64 `json:"alarms_per_month"`
	Low95    float64 `json:"alarms_per_month_low95"` // exact Poisson limits (Garwood 1936)
	High95   float64 `json:"alarms_per_month_high95"`
	Delays   []Delay `json:"delays"`
}

// Delay is how long after a change its alarm comes, seconds.
type Delay struct {
	Size      float64 `json:"size"`   // to so many drops per minute, or °C a minute
	Within    bool    `json:"within"` // the change is not beyond this limit: no alarm is wanted
	Theory    float64 `json:"theory_s"`
	Tried     int     `json:"tried"`
	Found     int     `json:"found"`
	Early     int     `json:"alarm_before_the_change"`
	Median    float64 `json:"median_s"` // of those found
	Worst     float64 `json:"worst_s"`
	NotWithin float64 `json:"not_within_s,omitempty"` // how long was waited in vain
}

const leastDays = 7.0

// lacking reports that the record says too little, and notes what is lacking.
func (f *Finding) lacking(h *history, l Limit) bool {
	switch {
	case l != Rise && !h.fitted[reading.Drip]:
		f.TooLittle = "no drops were recorded"
	case l == Rise && !h.sawRise:
		f.TooLittle = "no rise was recorded: that needs temp and ref"
	case f.Watched < leastDays:
		f.TooLittle = fmt.Sprintf("%s watched with the shaft turning, want %g days", daysText(f.Watched), leastDays)
	case f.Stretches < leastStretches:
		f.TooLittle = fmt.Sprintf("%d quiet stretches of 3 hours, want %d", f.Stretches, leastStretches)
	}
	f.Enough = f.TooLittle == ""
	return !f.Enough
}

func daysText(d float64) string {
	switch {
	case d < 1.0/24:
		return fmt.Sprintf("%.0f minutes were", d*24*60)
	case d < 1:
		return fmt.Sprintf("%.1f hours were", d*24)
	default:
		return fmt.Sprintf("%.1f days were", d)
	}
}

// usual takes the spread of the quiet blocks.
func (f *Finding) usual(quiet []block, l Limit) {
	var values []float64
	temps, blocks := 0, 0
	for _, b := range quiet {
		switch {
		case l != Rise:
			values = append(values, b.drops/blockTime.Minutes())
		case b.rises > 0:
			values = append(values, b.rise)
			temps, blocks = temps+b.temps, blocks+1
		}
	}
	f.Usual05, f.Usual50, f.Usual95 = quantile(values, 0.05), quantile(values, 0.5), quantile(values, 0.95)
	if temps > 0 {
		f.tempEvery = blockTime.Seconds() * float64(blocks) / float64(temps)
	}
}

func (f *Finding) sort() {
	slices.SortStableFunc(f.Candidates, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(a.Value, b.Value), cmp.Compare(a.Budget, b.Budget))
	})
}

// riseMargin is the part of rise_c below which the false-alarm budget holds.
const riseMargin = 0.8

// holds reports that the usual weep or rise stays where a limit's false-alarm
// budget holds.
func (f *Finding) holds(value float64) bool {
	switch f.Limit {
	case Dry:
		return value*weep.Margin <= f.Usual05
	case Leak:
		return value/weep.Margin >= f.Usual95
	default:
		return value*riseMargin >= f.Usual95
	}
}

// looser reports that a value protects less than another.
func (f *Finding) looser(value, than float64) bool {
	if f.Limit == Dry {
		return value < than
	}
	return value > than
}
