package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// ran is what a command line did.
type ran struct {
	code     int
	out, err string
}

func weepd(t *testing.T, stdin string, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	code := execute(t.Context(), args, strings.NewReader(stdin), &out, &errs)
	return ran{code, out.String(), errs.String()}
}

// file writes a file of the test and gives its path.
func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestUsageErrors(t *testing.T) {
	for _, args := range [][]string{
		{}, {"wach"}, {"check"}, {"check", "a", "b"}, {"replay", "a.csv"}, {"replay", "--config", "x.yaml"},
		{"replay", "--speed", "3"}, {"version", "now"}, {"--loud"}, {"cases"},
	} {
		got := weepd(t, "", args...)
		if got.code != exitUsage || got.out != "" || !strings.HasPrefix(got.err, "weepd: ") || !strings.Contains(got.err, "--help") {
			t.Errorf("%v: %+v", args, got)
		}
	}
	if got := weepd(t, "", "chekc", "x"); !strings.Contains(got.err, "check") {
		t.Errorf("no suggestion: %+v", got)
	}
}

func TestHelpWarnsAndHidesCases(t *testing.T) {
	got := weepd(t, "", "--help")
	if got.code != exitDone || !strings.Contains(got.out, "weepd is no safety system") || !strings.Contains(got.out, "lock-out") {
		t.Errorf("%+v", got)
	}
	if strings.Contains(got.out, "cases") {
		t.Error("the help shows the hidden command")
	}
	for _, sub := range []string{"check", "replay", "version"} {
		if !strings.Contains(got.out, "\n  "+sub+" ") {
			t.Errorf("the help does not list %s", sub)
		}
		if help := weepd(t, "", sub, "--help"); help.code != exitDone || help.err != "" {
			t.Errorf("%s --help: %+v", sub, help)
		}
	}
}

func TestCheckPrintsAllFaults(t *testing.T) {
	path := file(t, "bad.yaml", "station: quarry\nglands:\n  - id: p1-de\n    limits: {dry_dpm: 70, rise: 3}\n    colour: red\n")
	got := weepd(t, "", "check", path)
	want := path + `:4:14: limits.dry_dpm 70 is not below limits.leak_dpm 60 (default: twice the wanted weep of synthetic fibre, 30 dpm; common practice, no source); lower it, or set limits.leak_dpm of this gland above 70
` + path + `:4:27: unknown key "rise" in limits; did you mean rise_c?
` + path + `:5:5: unknown key "colour" in gland; the keys here are id, name, normal_dpm, drop_ml, packing, stuffing_box, limits, timing and sensors
`
	if got != (ran{exitFault, "", want}) {
		t.Errorf("got %+v, want\n%s", got, want)
	}
}

func TestCheckPrintsLimitsInForce(t *testing.T) {
	path := file(t, "good.yaml", `station: quarry
glands:
  - id: p1-de
    name: Pump 1, drive end
    limits: {leak_dpm: 70}
    sensors:
      drip: {source: gpio, pin: GPIO17}
`)
	got := weepd(t, "", "check", path)
	if got.code != exitDone || got.err != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		"no faults; station quarry, glands: 1\n",
		"\np1-de (Pump 1, drive end)\n",
		"  limits.leak_dpm               70 dpm       line 5\n",
		"  limits.gush_dpm               200 dpm      default: the larger of 200",
		"  sensors.drip                  gpio GPIO17  line 7\n",
		"  note: burning needs both temp and ref\n",
	} {
		if !strings.Contains(got.out, want) {
			t.Errorf("%q is missing in\n%s", want, got.out)
		}
	}
}

func TestCheckOfNoFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none.yaml")
	got := weepd(t, "", "check", path)
	if got.code != exitFault || !strings.HasPrefix(got.err, path+":1:1: cannot be opened") {
		t.Errorf("%+v", got)
	}
}

func TestVersion(t *testing.T) {
	got := weepd(t, "", "version")
	if got.code != exitDone || !strings.HasPrefix(got.out, "weepd ") || !strings.Contains(got.out, " go1.") {
		t.Errorf("%+v", got)
	}
}
