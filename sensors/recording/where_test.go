package recording

import (
	"strings"
	"testing"
)

// Empty lines count as lines, not as rows.
func TestWhereNamesTheRowsLine(t *testing.T) {
	r, err := NewReader("day.csv", strings.NewReader(Header+"\n\n2025-01-01T00:00:00Z,p1.run,1\n\n\n2025-01-01T00:00:01Z,p1.drip,1\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"day.csv:3", "day.csv:6"} {
		if _, err := r.Next(); err != nil {
			t.Fatal(err)
		}
		if got := r.Where(); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
