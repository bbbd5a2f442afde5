package main

import (
	"encoding/json"
	"strings"
	"testing"

	"weepd/agent/config"
	"weepd/rules/advice"
)

func TestAdvicePrints(t *testing.T) {
	got := weepd(t, "", "advice", "burning")
	if got.code != exitDone || got.err != "" || strings.Contains(got.out, "leaking:") {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		"burning: The gland is running hot.", "  CAUTION: Never slack back a hot gland on a running pump unless",
		"  2. Have the pump stopped", "     (TM 5-4210-233-14&P-2",
	} {
		if !strings.Contains(got.out, want) {
			t.Errorf("no %q in\n%s", want, got.out)
		}
	}
	all := weepd(t, "", "advice", "--json")
	var texts []advice.Text
	if err := json.Unmarshal([]byte(all.out), &texts); err != nil || len(texts) != len(advice.Conditions()) {
		t.Errorf("%v: %+v", err, all)
	}
}

func TestAdviceTemplateIsGood(t *testing.T) {
	got := weepd(t, "", "advice", "--template")
	if texts, faults := config.ParseAdvice("advice.yaml", []byte(got.out)); len(faults) > 0 || len(texts) != len(advice.Conditions()) {
		t.Errorf("%v %v", texts, faults)
	}
}

func TestOwnAdvice(t *testing.T) {
	texts := file(t, "advice.yaml", "conditions:\n  dry:\n    summary: Ask the fitter.\n    steps:\n      - do: Ring 17.\n        source: rule of the house\n")
	cfg := file(t, "weepd.yaml", "station: quarry\nadvice_file: "+texts+"\nglands:\n  - id: p1-de\n")
	got := weepd(t, "", "advice", "--config", cfg, "dry")
	if got.code != exitDone || !strings.Contains(got.out, "dry: Ask the fitter.") || !strings.Contains(got.out, "CAUTION: Never slack back") {
		t.Errorf("%+v", got)
	}
	if got := weepd(t, "", "check", cfg); got.code != exitDone || !strings.Contains(got.out, "advice_file") {
		t.Errorf("%+v", got)
	}
}

// TestBadAdvice: check and advice tell the faults of the station's file.
func TestBadAdvice(t *testing.T) {
	texts := file(t, "advice.yaml", "conditions:\n  wet:\n    summary: x\n")
	cfg := file(t, "weepd.yaml", "station: quarry\nadvice_file: "+texts+"\nglands:\n  - id: p1-de\n")
	for _, args := range [][]string{{"advice", "--config", cfg}, {"check", cfg}} {
		got := weepd(t, "", args...)
		if got.code != exitFault || !strings.Contains(got.err, texts+`:2:3: unknown key "wet" in conditions; `) {
			t.Errorf("%v: %+v", args, got)
		}
	}
	for _, args := range [][]string{{"advice", "wet"}, {"advice", "dry", "leaking"}, {"advice", "--template", "dry"}} {
		if got := weepd(t, "", args...); got.code != exitUsage {
			t.Errorf("%v: %+v", args, got)
		}
	}
}
