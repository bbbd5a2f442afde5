package weekly

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// hours writes a time for people: minutes below two hours, else hours. Figure and
// unit stay on one line.
func hours(d time.Duration) string {
	switch {
	case d == 0:
		return "0"
	case d < time.Minute:
		return "under 1\u00a0min"
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f\u00a0min", d.Minutes())
	default:
		return fmt.Sprintf("%.0f\u00a0h", d.Hours())
	}
}

// share writes a part of a whole in percent, and never 0 or 100 for what is
// not.
func share(part, whole time.Duration) string {
	if whole == 0 {
		return "–"
	}
	percent := 100 * float64(part) / float64(whole)
	switch {
	case part == 0:
		return "0\u00a0%"
	case percent < 1:
		return "<1\u00a0%"
	case part < whole && percent > 99:
		return ">99\u00a0%"
	default:
		return fmt.Sprintf("%.0f\u00a0%%", percent)
	}
}

// amount writes a range with two significant digits.
func amount(r Range) string {
	low, high := significant(r.Low), significant(r.High)
	if low == high {
		return low
	}
	return low + " to " + high
}

func significant(v float64) string {
	if v == 0 {
		return "0"
	}
	places := 1 - int(math.Floor(math.Log10(math.Abs(v))))
	if places < 0 {
		unit := math.Pow(10, float64(-places))
		return strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'f', min(places, 4), 64)
}
