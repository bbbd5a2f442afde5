package main

import (
	"strings"
	"testing"
	"time"

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

// TestChangedSheetChangesThePage: what only the sheet needs makes the page anew.
func TestChangedSheetChangesThePage(t *testing.T) {
	was := station{sheets: map[string]sheet.Sheet{"a": {Gland: "a"}}}
	same := station{sheets: map[string]sheet.Sheet{"a": {Gland: "a"}}}
	if textsChanged(was, same) {
		t.Error("nothing changed")
	}
	same.zone = time.UTC
	if !textsChanged(was, same) {
		t.Error("the zone changed")
	}
	if !textsChanged(was, station{sheets: map[string]sheet.Sheet{"a": {Gland: "a", Name: "A"}}}) {
		t.Error("a sheet changed")
	}
}
