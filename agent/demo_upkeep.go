package agent

import (
	"encoding/json"
	"math"
	"time"

	"weepd/rules/upkeep"
)

// The demonstration's gland with a past: repacked and adjusted for months.
const (
	demoWorn     = "p3-de"
	demoFirstSeq = 1_000_001 // apart from the events of the demonstration
)

// DemoUpkeep is the invented past of one gland: each interval between adjustments
// is shorter than the one before, each flat takes off a little less.
func DemoUpkeep(now time.Time) Remembered {
	const leak, normal, hours = 90.0, 52.0, 36
	intervals := []int{20, 17, 14, 11, 9, 8} // days
	at := now.Truncate(time.Hour).Add(-hours * time.Hour)
	for _, days := range intervals {
		at = at.AddDate(0, 0, -days)
	}
	var m Remembered
	var weeps []KeptWeep
	did := func(kind upkeep.Kind, value, note string) {
		m.Upkeep = append(m.Upkeep, Upkeep{
			Seq: demoFirstSeq + uint64(len(m.Upkeep)), Time: at, Gland: demoWorn, By: "M. Weaver", Note: note,
			Entry: Entry{string(kind), json.RawMessage(value)},
		})
	}
	rises := func(hours int, from, to float64) {
		for i := range hours {
			at = at.Add(time.Hour)
			// Day and night, and a slow wander.
			stir := 1 + 0.02*math.Sin(2*math.Pi*float64(i)/24) + 0.02*math.Sin(float64(i)/5)
			dpm := (from + (to-from)*float64(i)/float64(hours)) * stir
			weeps = append(weeps, KeptWeep{To: at, Span: time.Hour, Watched: time.Hour, DPM: dpm})
		}
	}
	did(upkeep.Repacked, `{"packing":"aramid 12 mm","rings":5}`, "")
	after := normal - 8
	for i, days := range intervals {
		rises(24*days, after, leak+2)
		after = normal - 10 + 2*float64(i)
		did(upkeep.Adjusted, `{"flats":1}`, "both nuts, evenly")
	}
	rises(hours-4, after, 54)
	m.Weeps = map[string][]KeptWeep{demoWorn: weeps}
	return m
}
