package weekly

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// TestWeeks: ISO 8601:2004 clause 3.2.2 and the examples of its annex: week 1
// has the year's first Thursday, so 2004 has 53 weeks, 3 January 2010 lies in
// 2009-W53, and 29 December 2008 in 2009-W01 (dates from memory, checked by
// calendar). Clocks change in Berlin on 29 March and 25 October 2026.
func TestWeeks(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	for text, want := range map[string]struct {
		from  string
		hours float64
	}{
		"2026-W07": {"2026-02-09T00:00:00+01:00", 168},
		"2026-W13": {"2026-03-23T00:00:00+01:00", 167},
		"2026-W43": {"2026-10-19T00:00:00+02:00", 169},
		"2004-W53": {"2004-12-27T00:00:00+01:00", 168},
		"2009-W01": {"2008-12-29T00:00:00+01:00", 168},
		"2009-W53": {"2009-12-28T00:00:00+01:00", 168},
		"2026-W53": {"2026-12-28T00:00:00+01:00", 168},
	} {
		w, err := ParseWeek(text, berlin)
		if err != nil || w.From.Format(time.RFC3339) != want.from || w.To.Sub(w.From).Hours() != want.hours || w.String() != text {
			t.Errorf("%s: %s from %s to %s, %v", text, w, w.From, w.To, err)
		}
	}
	for _, text := range []string{"", "2026", "2026-07", "2026-W7", "2026-W00", "2026-W54", "2025-W53", "26-W07", "2026-W07 ", "2026-w07"} {
		if w, err := ParseWeek(text, berlin); err == nil {
			t.Errorf("%q: %s", text, w)
		}
	}
}

// TestMidnightThatIsNot: where clocks change at midnight a Monday may begin at
// one o'clock; the week still begins with it. (Asuncion, until 2024, on Sundays;
// Beirut changes at Sunday's midnight, too, so the week's end is what shows.)
func TestMidnightThatIsNot(t *testing.T) {
	beirut := zone(t, "Asia/Beirut")
	w := WeekOf(time.Date(2026, 3, 29, 12, 0, 0, 0, beirut))
	if hours := w.To.Sub(w.From).Hours(); hours != 167 || w.String() != "2026-W13" {
		t.Errorf("%s has %g hours, %s to %s", w, hours, w.From, w.To)
	}
}

// TestWeekHoldsItsMoment: each moment lies in its week, which is back to back
// with the one before, in any zone.
func TestWeekHoldsItsMoment(t *testing.T) {
	zones := []*time.Location{time.UTC, zone(t, "Europe/Berlin"), zone(t, "America/St_Johns"), zone(t, "Asia/Kathmandu"), zone(t, "Pacific/Auckland"), zone(t, "Asia/Beirut")}
	rapid.Check(t, func(t *rapid.T) {
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "at"), 0).In(rapid.SampledFrom(zones).Draw(t, "zone"))
		w := WeekOf(at)
		if at.Before(w.From) || !at.Before(w.To) {
			t.Fatalf("%s is not in %s to %s", at, w.From, w.To)
		}
		if last := LastWhole(at); !last.To.Equal(w.From) {
			t.Fatalf("the week before %s ends %s", w.From, last.To)
		}
		again, err := ParseWeek(w.String(), at.Location())
		if err != nil || !again.From.Equal(w.From) || !again.To.Equal(w.To) {
			t.Fatalf("%s read back: %v to %v, %v", w, again.From, again.To, err)
		}
	})
}
