package upkeep

import (
	"fmt"
	"math"
	"time"
)

func rateWords(dpm float64) string {
	if dpm < 9.95 {
		return fmt.Sprintf("%.1f", dpm)
	}
	return fmt.Sprintf("%.0f", dpm)
}

func levelWords(l Level) string {
	return fmt.Sprintf("%s (%s to %s)", rateWords(l.DPM), rateWords(l.LowDPM), rateWords(l.HighDPM))
}

func nothingWords(a Adjustment) string {
	return fmt.Sprintf("the last adjustment (%s) changed the weep from %s to %s drops/min: less than a tenth came off",
		flatWords(a.Flats), levelWords(a.Before), levelWords(a.After))
}

func stillOverWords(last, before Adjustment, leak float64) string {
	return fmt.Sprintf("after the last two adjustments the weep was still %s and %s drops/min, most allowed is %s",
		levelWords(before.After), levelWords(last.After), rateWords(leak))
}

// flatWords says how far nuts were turned.
func flatWords(flats float64) string {
	n, unit := math.Abs(flats), "flats"
	if n == 1 {
		unit = "flat"
	}
	text := fmt.Sprintf("%g %s", n, unit)
	switch {
	case flats == 0:
		return "not known how far"
	case flats < 0:
		return text + " slackened"
	}
	return text
}

// spanWords says a time no finer than it is known.
func spanWords(d time.Duration) string {
	switch h := d.Hours(); {
	case h < 36:
		return plural(math.Round(h), "hour")
	case h < 21*24:
		return plural(math.Round(h/24), "day")
	case h < 120*24:
		return plural(math.Round(h/24/7), "week")
	default:
		return plural(math.Round(h/24/30.4), "month")
	}
}

func plural(n float64, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%.0f %ss", n, unit)
}
