package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const quarryData = "../../testdata/recordings/"

// slower is the quarry's configuration with a false-alarm budget ten thousand
// times smaller, and p2-nde allowed to leak.
func slower(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(quarryData + "quarry.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s := strings.ReplaceAll(string(text), "limits: {dry_dpm: 30, leak_dpm: 90}", "limits: {dry_dpm: 30, leak_dpm: 90, false_alarms_per_year: 0.001}")
	s = strings.Replace(s, "- {id: p2-nde}", "- {id: p2-nde, limits: {leak_dpm: 400, gush_dpm: 1000}}", 1)
	return file(t, "slower.yaml", s)
}

func TestReplayAgainst(t *testing.T) {
	page := filepath.Join(t.TempDir(), "change.html")
	other := slower(t)
	got := weepd(t, "", "replay", "--config", quarryData+"quarry.yaml", "--against", other, "--html", page, quarryData+"quarry.csv.gz")
	if got.code != exitDone || got.err != "rows used: 8391\n" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		`p1-de +limits.false_alarms_per_year +1 +0.001\n`,
		`p2-nde +limits.leak_dpm +60 dpm +400 dpm\n`,
		`p1-de +dry +high +1 +0 +0 +0 +1 +[0-9.]+s later +`,
		`p2-nde +leaking +medium +0 +1 +0 +0 +0 +- `,
		`p2-nde +leaking +2026-03-01T08:10:19.509Z +- +only old\n`,
		`\na week +less than one was watched`,
		`\nmost within 10 minutes +3 +2 `,
	} {
		if !regexp.MustCompile(want).MatchString(got.out) {
			t.Errorf("%s is missing in\n%s", want, got.out)
		}
	}
	checkPage(t, page)
}

// checkPage holds the page to needing nothing else.
func checkPage(t *testing.T, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	for _, want := range []string{"Station quarry", "<svg", "in both", "maker", "@media print"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page has no %q", want)
		}
	}
	// Name spaces name, they are not fetched.
	fetched := regexp.MustCompile(`(?i)<script|<link|<img|<iframe|src=|@import|url\(|href=|\son[a-z]+=`)
	if found := fetched.FindString(page); found != "" {
		t.Errorf("the page has %q", found)
	}
	if strings.Contains(page, "%!") {
		t.Error("a value of the page was not printed")
	}
}

func TestReplayAgainstAsJSON(t *testing.T) {
	got := weepd(t, "", "replay", "-c", quarryData+"quarry.yaml", "--against", slower(t), "--json", quarryData+"quarry.csv.gz")
	var r struct {
		Conditions []struct {
			Gland, Condition     string
			Both, Earlier, Later int
			OnlyOld              int `json:"only_old"`
			Alarms               []struct{ Old, New *struct{ From string } }
			Shift                *struct {
				Median float64 `json:"median_s"`
			}
		}
		OldLoad struct{ Alarms int } `json:"old_load"`
		NewLoad struct{ Alarms int } `json:"new_load"`
	}
	if err := json.Unmarshal([]byte(got.out), &r); err != nil || got.code != exitDone {
		t.Fatalf("%v: %+v", err, got)
	}
	if r.OldLoad.Alarms != 3 || r.NewLoad.Alarms != 2 || len(r.Conditions) != 3 {
		t.Errorf("%+v", r)
	}
	for _, c := range r.Conditions {
		if c.Condition == "dry" && (c.Both != 1 || c.Later != 1 || c.Shift == nil || c.Shift.Median <= 0 || c.Alarms[0].New == nil) {
			t.Errorf("%+v", c)
		}
	}
}

// The same configuration twice raises the same.
func TestReplayAgainstItself(t *testing.T) {
	got := weepd(t, "", "replay", "-c", quarryData+"quarry.yaml", "--against", quarryData+"quarry.yaml", quarryData+"quarry.csv.gz")
	if got.code != exitDone || !strings.Contains(got.out, "No limit or timing differs.") || !strings.Contains(got.out, "same time") ||
		strings.Contains(got.out, "NEW COMES\n") {
		t.Errorf("%+v", got)
	}
}

func TestReplayAgainstFaults(t *testing.T) {
	config := file(t, "quarry.yaml", twoGlands)
	one := file(t, "one.yaml", "station: quarry\nglands: [{id: p2-de}]\n")
	bad := file(t, "bad.yaml", "station: quarry\n")
	rec := file(t, "day.csv", steadyDrops("p1-de"))
	strange := file(t, "strange.csv", steadyDrops("p1-de")+"2025-03-01T13:00:00Z,p9.drip,1\n")
	for _, c := range []struct {
		name, out, err string
		code           int
		args           []string
	}{
		{"second configuration", "", bad + ":1:1: glands is missing", exitFault, []string{"--against", bad, rec}},
		{"a gland of one only", "note: gland p1-de is in " + config + " only\n", "rows used: 151\n", exitDone, []string{"--against", one, rec}},
		{"a gland of none", "Neither raises an alarm.", strange + ":153: reading of unknown point p9.drip", exitFault, []string{"--against", one, strange}},
		{"html alone", "", "add --against", exitUsage, []string{"--html", "x.html", rec}},
		{"negative", "", "--within", exitUsage, []string{"--against", one, "--within", "-1s", rec}},
		{"no folder", "", "write the report", exitFault, []string{"--against", one, "--html", filepath.Join(t.TempDir(), "none", "x.html"), rec}},
	} {
		got := weepd(t, "", append([]string{"replay", "--config", config}, c.args...)...)
		if got.code != c.code || !strings.Contains(got.out, c.out) || !strings.Contains(got.err, c.err) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}
