package compare

import (
	"strings"
	"testing"
	"time"

	"weepd/rules"
)

func pageOf(t *testing.T, r Result) string {
	t.Helper()
	var b strings.Builder
	if err := WriteHTML(&b, r); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "%!") {
		t.Error("a value was not printed")
	}
	return b.String()
}

// A page without any alarm, and names that are no HTML.
func TestPageOfNothing(t *testing.T) {
	w := &Watch{}
	for _, r := range watchedFor(0, time.Hour) {
		w.Row(r)
	}
	r := Of(&Spans{}, &Spans{}, w, time.Minute, []string{"p1"})
	r.OldFile = "<b>old</b>.yaml"
	page := pageOf(t, r)
	for _, want := range []string{"Neither raises an alarm.", "&lt;b&gt;old&lt;/b&gt;.yaml", "a week: less than one was watched"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(page, "<svg") || strings.Contains(page, "<b>old") {
		t.Error("charts of nothing, or a name taken for HTML")
	}
}

// Every alarm and every name of the load is on the page.
func TestPageNamesWhatIsWrong(t *testing.T) {
	var before, after Spans
	for i := range 3 {
		before.put("p1", rules.Dry, time.Duration(20*i)*time.Second, time.Second)
	}
	after.put("p2", rules.Leaking, time.Hour, 25*time.Hour)
	w := &Watch{}
	for _, r := range watchedFor(0, 15*day) {
		w.Row(r)
	}
	page := pageOf(t, Of(&before, &after, w, time.Minute, []string{"p1", "p2"}))
	for want, times := range map[string]int{
		"old: p1 dry chatters, 3 alarms, episodes: 1":                   1,
		"new: p2 leaking stood for 25h0m from 1970-01-01T01:00:00.000Z": 1,
		"<td>only old</td>": 3, "<td>only new</td>": 1, "<svg": 4, "<rect ": 2,
	} {
		if got := strings.Count(page, want); got < times || times > 1 && strings.HasPrefix(want, "<td>") && got != times {
			t.Errorf("%q is there %d times, want %d", want, got, times)
		}
	}
}

// Thousands of alarms are counted, not all listed, and what lies under another is
// not drawn.
func TestPageOfThousands(t *testing.T) {
	var before, after Spans
	for i := range 3000 {
		before.put("p1", rules.Dry, time.Duration(i)*time.Minute, time.Second)
	}
	w := &Watch{}
	for _, r := range watchedFor(0, 3*day) {
		w.Row(r)
	}
	page := pageOf(t, Of(&before, &after, w, time.Minute, []string{"p1"}))
	if listed, drawn := strings.Count(page, "<td>only old</td>"), strings.Count(page, "<rect "); listed != mostListed || drawn > 1200 || drawn < 200 {
		t.Errorf("%d listed, %d drawn", listed, drawn)
	}
	if !strings.Contains(page, "... and 1000 more") {
		t.Error("what is not listed is not said")
	}
}
