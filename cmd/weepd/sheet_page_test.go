package main

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"weepd/agent/config"
	"weepd/rules/sheet"
)

func TestSheetOnThePage(t *testing.T) {
	cfg, err := config.Load(boxConfig)
	if err != nil {
		t.Fatal(err)
	}
	s := station{sheets: sheetsOf(cfg)}
	text := func(gland string) string {
		var b strings.Builder
		for _, section := range s.sheetSections(t.Context(), gland) {
			b.WriteString(section.Title + "\n")
			for _, line := range section.Lines {
				b.WriteString(line.Name + ": " + line.Text + "\n")
			}
		}
		return b.String()
	}
	for _, want := range []string{
		"Packing rings\n", "section of the packing: 10 mm = (bore - shaft or sleeve) / 2 (R. K. Mobley",
		"WARNING: the middle of the flush port lies 0.8 mm beside", "Cautions\n", "never slack back a hot gland",
	} {
		if got := text("p1-de"); !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if got := text("p1-nde"); strings.Count(got, "stuffing_box.bore_mm") != 3 || !strings.Contains(got, "not known: for the rest the configuration needs stuffing_box.bore_mm, ") {
		t.Errorf("%s", got)
	}
	if got := s.sheetSections(t.Context(), "p9"); got != nil {
		t.Errorf("%+v", got)
	}
}

// TestChangedTextsShowOnTheSamePage: a sheet or an advice that changed shows on the
// page that is there, so that nobody is logged out by it.
func TestChangedTextsShowOnTheSamePage(t *testing.T) {
	shown := station{texts: new(atomic.Pointer[station])}
	for bore, section := range map[float64]string{70: "10 mm", 74: "12 mm"} {
		book, err := config.DefaultAdvice()
		if err != nil {
			t.Fatal(err)
		}
		shown.texts.Store(&station{advice: book, sheets: map[string]sheet.Input{"a": {Gland: "a", Box: sheet.Box{SleeveMM: 50, BoreMM: bore}}}})
		if got := fmt.Sprint(shown.sheetNow(t.Context(), "a")); !strings.Contains(got, "section of the packing "+section) {
			t.Errorf("%s, want a section of %s", got, section)
		}
		if steps, _ := shown.adviceLines("dry"); len(steps) == 0 {
			t.Error("no advice")
		}
	}
}
