package weep

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// coal reads the dates of the British coal-mining disasters, years.
func coal(t *testing.T) (years []float64) {
	t.Helper()
	data, err := os.ReadFile("testdata/coal.csv")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(data)) {
		line = strings.TrimSpace(line)
		if line == "" || line == "year" || strings.HasPrefix(line, "#") {
			continue
		}
		year, err := strconv.ParseFloat(line, 64)
		if err != nil {
			t.Fatal(err)
		}
		years = append(years, year)
	}
	return years
}

// Published for boot::coal (its help, and computed with R): 191 dates, 190
// intervals that begin with 157, 123, 2, 124, 12 and 4 days, mean 213.4158.
func TestCoalIsTypedRight(t *testing.T) {
	years := coal(t)
	if len(years) != 191 || years[0] != 1851.2026 || years[190] != 1962.2197 {
		t.Fatalf("%d dates from %v", len(years), years)
	}
	for i, days := range []float64{157, 123, 2, 124, 12, 4} {
		if got := (years[i+1] - years[i]) * daysPerYear; math.Abs(got-days) > 0.05 {
			t.Errorf("interval %d is %.3f days, want %g", i, got, days)
		}
	}
	if mean := (years[190] - years[0]) / 190 * daysPerYear; math.Abs(mean-213.4158) > 0.001 {
		t.Errorf("mean interval %.4f days, want 213.4158", mean)
	}
}

const daysPerYear = 365.25

// The detector, told that the early 3.1 disasters a year are normal and lie at
// the edge of the good band, must find by itself that they became fewer, and
// when. A day is a second, a disaster a drop. Published: with two rates the
// likeliest change is at 1890.19, from 3.20620 to 0.91628 a year (computed with
// R on boot::coal); on counts of years the first rate ends with 1891; either
// supports 1890 to 1891. With a budget as large as one false alarm in a century
// the level nearest to normal is the first to tell, and dates it a little less
// well.
func TestDropOfCoalDisastersIsFound(t *testing.T) {
	for _, c := range []struct{ yearsBetween, from, to float64 }{
		{100, 1887, 1892}, {200, 1890, 1892}, {500, 1890, 1892}, {1000, 1890, 1892},
	} {
		found, onset, d := findDrop(t, coal(t), c.yearsBetween)
		if found < 1891 || found > 1900 || onset < c.from || onset >= c.to {
			t.Errorf("one false alarm in %g years: found at %.2f with its onset at %.2f, want within ten years after 1890 and an onset from %g to %g",
				c.yearsBetween, found, onset, c.from, c.to)
		}
		if _, high, gush := d.Out(); high || gush {
			t.Error("disasters that become fewer must not look like more")
		}
	}
}

// findDrop gives the year in which the detector knows of too few disasters and
// its best guess of when that began.
func findDrop(t *testing.T, dates []float64, yearsBetween float64) (found, onset float64, d *Detector) {
	t.Helper()
	const early = 3.1 * 60 / daysPerYear // drops per minute
	d = NewDetector(Config{
		DryDPM: early / Margin, LeakDPM: 4 * early, GushDPM: 16 * early,
		FalseAlarmsPerYear: secondsPerYear / (yearsBetween * daysPerYear),
	}, NewModels())
	d.Restart(0)
	d.Arm(0, true)
	year := func(seconds float64) float64 { return dates[0] + seconds/daysPerYear }
	low := func() bool { low, _, _ := d.Out(); return low }
	for _, date := range dates[1:] {
		if s, now := follow(d, (date-dates[0])*daysPerYear, low); now {
			return year(s), year(d.Onset().Seconds()), d
		}
	}
	t.Fatal("the drop was not found")
	return 0, 0, d
}
