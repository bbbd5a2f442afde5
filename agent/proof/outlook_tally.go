package proof

import (
	"cmp"
	"slices"

	"weepd/rules/weep"
)

// Coverage sums up what was stated.
type Coverage struct {
	Asked    int     `json:"asked"`
	Stated   int     `json:"stated"` // a range; else too early to tell
	Held     int     `json:"held"`
	Coverage float64 `json:"coverage"` // held of stated
	Early    float64 `json:"before"`   // share that came before the range
	Ratio    float64 `json:"ratio"`    // median of late over early end
	Ahead    float64 `json:"ahead_days"`
}

// CoverageOf counts the sayings of a kind; an empty opening is all.
func CoverageOf(backs []Back, what string, opening Opening) Coverage {
	var c Coverage
	var ratios, ahead []float64
	before := 0
	for _, b := range backs {
		for _, s := range b.Sayings {
			if s.What != what || opening != "" && s.Opening != opening {
				continue
			}
			c.Asked++
			if !s.Known {
				continue
			}
			c.Stated++
			ratios, ahead = append(ratios, s.Late/max(s.Early, 1.0/24)), append(ahead, s.Came)
			switch {
			case s.Held():
				c.Held++
			case s.Came < s.Early:
				before++
			}
		}
	}
	if c.Stated > 0 {
		c.Coverage, c.Early = float64(c.Held)/float64(c.Stated), float64(before)/float64(c.Stated)
		c.Ratio, c.Ahead = middle(ratios), middle(ahead)
	}
	return c
}

func middle(list []float64) float64 {
	slices.SortFunc(list, cmp.Compare)
	return list[len(list)/2]
}

// StepTally is how adjustments that nobody recorded were noticed.
type StepTally struct {
	GlandYears float64   `json:"gland_years"`
	Turns      int       `json:"adjustments"`
	Silent     int       `json:"not_recorded"`
	Found      int       `json:"noticed"`
	False      int       `json:"false"`
	PerYear    weep.Rate `json:"-"` // false ones, with exact Poisson limits
}

// Warning is how long before a packing was spent repack-due was raised.
type Warning struct {
	Spent  int     `json:"spent"`  // packings that came to their end
	Week   int     `json:"week"`   // of them told at least a week before
	Day    int     `json:"day"`    // at least a day before
	Early  int     `json:"early"`  // more than sixty days before
	Median float64 `json:"median"` // days before, of those told
}

const tooSoon = 60.0

// WarningOf counts them.
func WarningOf(backs []Back) Warning {
	var w Warning
	var told []float64
	for _, b := range backs {
		if b.Spent == "" {
			continue
		}
		w.Spent++
		if b.Told < 0 {
			continue
		}
		told = append(told, b.Told)
		for least, n := range map[float64]*int{1: &w.Day, 7: &w.Week, tooSoon: &w.Early} {
			if b.Told >= least {
				*n++
			}
		}
	}
	if len(told) > 0 {
		w.Median = middle(told)
	}
	return w
}

// Summary is all that is counted.
type Summary struct {
	Packings int            `json:"packings"`
	Adjust   Coverage       `json:"adjust"`
	Repack   Coverage       `json:"repack"`
	Steps    StepTally      `json:"steps"`
	Warning  Warning        `json:"warning"`
	Spent    map[string]int `json:"spent"`    // by what
	Verdicts map[string]int `json:"verdicts"` // of adjustments
}

// Sum sums up.
func Sum(backs []Back) Summary {
	s := Summary{
		Packings: len(backs), Adjust: CoverageOf(backs, SayAdjust, ""), Repack: CoverageOf(backs, SayRepack, ""),
		Steps: StepsOf(backs), Warning: WarningOf(backs), Spent: map[string]int{}, Verdicts: map[string]int{},
	}
	for _, b := range backs {
		s.Spent[cmp.Or(b.Spent, "not yet")]++
		for verdict, n := range b.Verdicts {
			s.Verdicts[verdict] += n
		}
	}
	return s
}

// StepsOf counts them.
func StepsOf(backs []Back) StepTally {
	var t StepTally
	for _, b := range backs {
		t.GlandYears += b.Days / yearDays
		t.Turns += b.Turns
		t.Silent += b.Silent
		t.Found += b.Found
		t.False += b.False
	}
	t.PerYear = weep.Limits(float64(t.False), t.GlandYears, 1)
	return t
}
