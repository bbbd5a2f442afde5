package proof

import (
	"cmp"
	"slices"

	"weepd/rules"
	"weepd/rules/weep"
)

// Tally sums up quiet years.
type Tally struct {
	GlandYears float64            `json:"gland_years"`
	Drops      uint64             `json:"drops"`
	Alarms     map[string]int     `json:"alarms"` // by condition
	PerYear    map[string]float64 `json:"per_year"`
	Low95      map[string]float64 `json:"low95"` // exact Poisson limits, a year
	High95     map[string]float64 `json:"high95"`
}

// TallyOf counts the years' alarms, with Garwood's exact 95 % limits (1936).
func TallyOf(years []Year) Tally {
	t := Tally{
		Alarms: map[string]int{}, PerYear: map[string]float64{},
		Low95: map[string]float64{}, High95: map[string]float64{},
	}
	for _, y := range years {
		t.GlandYears += y.Years
		t.Drops += y.Drops
		for _, a := range y.Alarms {
			t.Alarms[a.Condition]++
		}
	}
	for c := range rules.Conditions {
		name := c.String()
		n := t.Alarms[name]
		t.Alarms[name] = n
		if t.GlandYears > 0 {
			// A gamma shape of 1 is a Poisson stream; the unit of time is the year.
			r := weep.Limits(float64(n), t.GlandYears, 1)
			t.PerYear[name], t.Low95[name], t.High95[name] = r.DPM, r.LowDPM, r.HighDPM
		}
	}
	return t
}

// At picks the years at a place of the band.
func At(years []Year, p Place) []Year {
	var at []Year
	for _, y := range years {
		if y.Scene.Place == p {
			at = append(at, y)
		}
	}
	return at
}

// Alarmed gives the years with an alarm, by scene.
func Alarmed(years []Year) []Year {
	var alarmed []Year
	for _, y := range years {
		if len(y.Alarms) > 0 {
			alarmed = append(alarmed, y)
		}
	}
	slices.SortFunc(alarmed, func(a, b Year) int { return cmp.Compare(a.Scene.Index, b.Scene.Index) })
	return alarmed
}
