package config

import (
	"fmt"

	"weepd/rules/reading"
)

// Setting is one value in force, for people.
type Setting struct {
	Key   string // as in the file, e.g. limits.dry_dpm
	Value string // with its unit
	From  string // `line 9`, or `default: ...` with the default's origin
}

// Settings lists everything in force for the gland in the order of the file
// format.
func (g Gland) Settings() []Setting {
	var list []Setting
	add := func(key, format string, value any) {
		list = append(list, Setting{key, fmt.Sprintf(format, value), g.origins[key]})
	}
	add("packing.fibre", "%s", g.Fibre)
	list = append(list, g.packingSettings()...)
	list = append(list, g.boxSettings()...)
	add("normal_dpm", "%.4g dpm", g.NormalDPM)
	if g.DropML > 0 {
		add("drop_ml", "%g mL", g.DropML)
	}
	add("limits.dry_dpm", "%g dpm", g.Limits.DryDPM)
	add("limits.leak_dpm", "%g dpm", g.Limits.LeakDPM)
	add("limits.gush_dpm", "%g dpm", g.Limits.GushDPM)
	add("limits.rise_c", "%g °C", g.Limits.RiseC)
	add("limits.false_alarms_per_year", "%g", g.Limits.FalseAlarmsPerYear)
	add("timing.start_grace", "%s", short(g.Timing.StartGrace))
	add("timing.on_delay", "%s", short(g.Timing.OnDelay))
	add("timing.off_delay", "%s", short(g.Timing.OffDelay))
	add("timing.run_in", "%s", short(g.Timing.RunIn))
	add("timing.deadband_percent", "%g %%", g.Timing.DeadbandPercent)
	for kind, source := range g.Sensors {
		key := "sensors." + reading.Kind(kind).String()
		if source == nil {
			list = append(list, Setting{key, "not fitted", "default: no source given"})
			continue
		}
		add(key, "%s", source)
		list = append(list, g.sourceSettings(reading.Kind(kind))...)
	}
	return list
}

// Notes says what is allowed but worth knowing about a gland.
func (g Gland) Notes() []string {
	var notes []string
	// The false-alarm budget holds between 1.3 x dry_dpm and leak_dpm / 1.3.
	if low, high := 1.3*g.Limits.DryDPM, g.Limits.LeakDPM/1.3; low >= high {
		notes = append(notes, "limits.dry_dpm and limits.leak_dpm are so close that the false-alarm budget holds nowhere between them")
	} else if g.NormalDPM < low || g.NormalDPM > high {
		notes = append(notes, fmt.Sprintf("normal_dpm %g is close to a limit: the false-alarm budget holds from %.1f to %.1f dpm", g.NormalDPM, low, high))
	}
	if g.Sensors == (Sensors{}) {
		return append(notes, "no sensor is fitted: good for replay, but `weepd run` has nothing to watch")
	}
	has := func(k reading.Kind) bool { return g.Sensors[k] != nil }
	if !has(reading.Drip) {
		notes = append(notes, "no drip sensor: dry, leaking and gushing cannot be seen")
	}
	if !has(reading.Temp) || !has(reading.Ref) {
		notes = append(notes, "burning needs both temp and ref")
	}
	if !has(reading.Run) {
		notes = append(notes, "no run sensor: the shaft counts as always turning, so a stopped pump looks dry")
	}
	return notes
}
