package agent

import (
	"fmt"
	"math"
	"strings"

	"weepd/rules/upkeep"
	"weepd/rules/weep"
)

// entryWords says what was done, for a log of the gland.
func entryWords(k upkeep.Kind, v upkeep.Value) string {
	switch k {
	case upkeep.Adjusted:
		how := "tightened"
		if v.Flats < 0 {
			how = "slackened"
		}
		unit := "flats"
		if math.Abs(v.Flats) == 1 {
			unit = "flat"
		}
		return fmt.Sprintf("%s by %g %s", how, math.Abs(v.Flats), unit)
	case upkeep.Repacked:
		var with []string
		if v.Rings > 0 {
			with = append(with, fmt.Sprintf("%d rings", v.Rings))
		}
		if v.Packing != "" {
			with = append(with, v.Packing)
		}
		if len(with) == 0 {
			return "repacked"
		}
		return "repacked with " + strings.Join(with, " of ")
	case upkeep.SleeveChanged:
		return "sleeve changed"
	case upkeep.ShaftChanged:
		return "shaft changed"
	case upkeep.SensorCleaned:
		return "drip sensor cleaned"
	case upkeep.Counted:
		r := weep.Limits(float64(v.Drops), v.Minutes, 1)
		return fmt.Sprintf("counted %d drops in %g min: %.0f drops/min (%.0f to %.0f)", v.Drops, v.Minutes, r.DPM, r.LowDPM, r.HighDPM)
	case upkeep.FlushChanged:
		if v.FlushBar != nil {
			return fmt.Sprintf("flush set to %g bar", *v.FlushBar)
		}
		return "flush changed"
	case upkeep.Corrected:
		if v.Void {
			return fmt.Sprintf("entry %d taken back", v.Of)
		}
		return fmt.Sprintf("entry %d corrected", v.Of)
	case upkeep.Noticed:
		return stepWords(v.Before, v.After, "")
	}
	return string(k)
}

// stepWords offers a step in the weep as an adjustment.
func stepWords(before, after float64, when string) string {
	if when != "" {
		when = " at about " + when
	}
	how := "fell"
	if after > before {
		how = "rose"
	}
	return fmt.Sprintf("adjusted? The weep %s from %.0f to %.0f drops/min%s and stays there, and nobody recorded work", how, before, after, when)
}

// adjustmentWords says what came of an adjustment.
func adjustmentWords(a upkeep.Adjustment) string {
	what := "not recorded"
	if a.Flats != 0 {
		what = entryWords(upkeep.Adjusted, upkeep.Value{Flats: a.Flats})
	} else if a.Recorded {
		what = "adjusted"
	}
	switch a.Verdict {
	case upkeep.NotYet:
		return what + ": too early to tell"
	case upkeep.Unseen:
		return what + ": the weep was not watched before and after"
	case upkeep.Worked, upkeep.Little, upkeep.Nothing, upkeep.Over:
	}
	text := fmt.Sprintf("%s: from %.0f to %.0f drops/min", what, a.Before.DPM, a.After.DPM)
	switch a.Verdict {
	case upkeep.Nothing:
		text += ", nothing came of it"
	case upkeep.Little:
		text += ", little or not enough"
	case upkeep.Over:
		text += ", too far: less than cools and lubricates"
	case upkeep.Worked, upkeep.NotYet, upkeep.Unseen:
	}
	if a.Holding {
		return text + fmt.Sprintf("; has held for %.1f days", a.Held.Hours()/24)
	}
	return text + fmt.Sprintf("; held for %.1f days", a.Held.Hours()/24)
}

// outcomeWords says how a run-in ended.
func outcomeWords(outcome string) string {
	switch outcome {
	case "in-band":
		return "the weep is steady in its band"
	case "out-of-time":
		return "its time was over before the weep was steady in its band"
	case "replaced":
		return "another repacking was recorded"
	case "taken-back":
		return "the repacking was taken back"
	}
	return outcome
}
