package main

import (
	"encoding/json"
	"strings"
	"testing"

	"weepd/rules/sheet"
)

const boxConfig = "../../testdata/configs/good-stuffing-box.yaml"

func TestSheetPrints(t *testing.T) {
	got := weepd(t, "", "sheet", "--config", boxConfig, "--price", "2", "p1-de")
	if got.code != exitDone || got.err != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		"Gland p1-de\n", "cut length of a ring, butt joint   188 mm",
		"= (bore - shaft or sleeve) / 2 [2]", "  [2] R. K. Mobley",
		"WARNING, lantern ring when the follower's travel is used up: the middle of the flush port lies 0.8 mm beside",
		"its cost a year ", "1.58 to 10.5", "CAUTION: weepd is no safety system", "never slack back a hot gland on a running pump unless",
	} {
		if !strings.Contains(got.out, want) {
			t.Errorf("no %q in\n%s", want, got.out)
		}
	}
}

func TestSheetAsJSON(t *testing.T) {
	got := weepd(t, "", "sheet", "--config", boxConfig, "--json", "p1-de")
	var made sheet.Sheet
	if err := json.Unmarshal([]byte(got.out), &made); err != nil || got.code != exitDone {
		t.Fatalf("%v: %+v", err, got)
	}
	row, ok := made.Row("section_mm")
	if !ok || row.Low == nil || *row.Low != 10 || row.Unit != "mm" || row.Source == "" {
		t.Errorf("%+v", row)
	}
}

func TestSheetRefuses(t *testing.T) {
	for _, args := range [][]string{
		{"sheet"}, {"sheet", "p1-de"}, {"sheet", "--config", boxConfig}, {"sheet", "--families", "p1-de"},
		{"sheet", "--config", boxConfig, "--price", "-1", "p1-de"}, {"sheet", "--config", boxConfig, "p1-de", "p1-nde"},
	} {
		if got := weepd(t, "", args...); got.code != exitUsage || got.out != "" {
			t.Errorf("%v: %+v", args, got)
		}
	}
	got := weepd(t, "", "sheet", "--config", boxConfig, "p9")
	if got.code != exitFault || !strings.Contains(got.err, `no gland "p9"; there are p1-de, p1-nde`) {
		t.Errorf("%+v", got)
	}
}

func TestFamiliesPrinted(t *testing.T) {
	got := weepd(t, "", "sheet", "--families")
	if got.code != exitDone || !strings.Contains(got.out, "The packing supplier decides") {
		t.Fatalf("%+v", got)
	}
	for _, f := range sheet.Families() {
		if !strings.Contains(got.out, "\n"+f.ID+" ") {
			t.Errorf("%s is missing", f.ID)
		}
	}
}
