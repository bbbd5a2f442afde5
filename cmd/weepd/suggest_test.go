package main

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"
)

// eightDays is a recording of one gland at about 10 drops a minute.
func eightDays() string {
	rng := rand.New(rand.NewPCG(5, 6))
	var b strings.Builder
	b.WriteString("time,point,value\n")
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	for at := 0.0; at < 8*86400; at += 1.6 + 4.4*rng.ExpFloat64() {
		b.WriteString(start.Add(time.Duration(at * 1e9)).Format("2006-01-02T15:04:05.000Z07:00"))
		b.WriteString(",p1-de.drip,1\n")
	}
	return b.String()
}

// The same from a file and from standard input, as table and as JSON.
func TestSuggest(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	cfg, text := file(t, "quarry.yaml", "station: quarry\nglands: [{id: p1-de, limits: {dry_dpm: 3, leak_dpm: 30}}]\n"), eightDays()
	args := []string{"suggest", "--config", cfg, "--limit", "dry_dpm", "--factors", "1.25", "--budgets", "1"}
	got := weepd(t, text, append(args, "-")...)
	if got.code != exitDone || !strings.HasPrefix(got.err, "rows used: ") {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		`p1-de dry_dpm: in force 3, false-alarm budget 1 a year\n  8\.0 days with the shaft turning; usual weep \d.* 8 quiet stretches`,
		`\n\* 3 +1 +0 +0 \(0 to 14\) +[^|]+s \| [^|]+s \(8/8\)`,
		`\n  3.75 +1 +0 +`,
		`\n  proposal: (keep 3|dry_dpm 3.75), budget 1 a year\n    - the usual weep of`,
		`packing maker's limits come before all of this`,
	} {
		if !regexp.MustCompile(want).MatchString(got.out) {
			t.Errorf("%s is missing in\n%s", want, got.out)
		}
	}
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) > 0 {
		t.Errorf("left in the temporary folder: %v, %v", left, err)
	}
	asJSON := weepd(t, "", append(args, "--json", file(t, "days.csv", text))...)
	var r struct {
		Caution  string
		Findings []struct {
			Enough     bool
			Candidates []struct {
				Value  float64
				Delays []struct {
					Theory float64 `json:"theory_s"`
					Median float64 `json:"median_s"`
				}
			}
			Proposal *struct{ Reasons []string }
		}
	}
	if err := json.Unmarshal([]byte(asJSON.out), &r); err != nil || len(r.Findings) != 1 || !r.Findings[0].Enough {
		t.Fatalf("%v: %+v", err, asJSON)
	}
	f := r.Findings[0]
	if len(f.Candidates) != 2 || f.Proposal == nil || f.Candidates[0].Delays[0].Median <= 0 || !strings.Contains(r.Caution, "maker") {
		t.Errorf("%+v", r)
	}
	if want := spanOf(f.Candidates[0].Delays[0].Theory) + " |"; !strings.Contains(got.out, want) {
		t.Errorf("the table does not have the theory of JSON, %s", want)
	}
}

func TestSuggestSaysTooLittle(t *testing.T) {
	got := weepd(t, "", "suggest", "-c", quarryData+"quarry.yaml", "--gland", "p1-de", quarryData+"quarry.csv.gz")
	if got.code != exitDone || strings.Count(got.out, "too little record: 13 minutes were watched") != 3 || strings.Contains(got.out, "proposal") ||
		strings.Contains(got.out, "p1-nde") {
		t.Errorf("%+v", got)
	}
}

func TestSuggestFaults(t *testing.T) {
	cfg, rec := file(t, "quarry.yaml", twoGlands), file(t, "day.csv", steadyDrops("p1-de"))
	broken := file(t, "broken.csv", steadyDrops("p1-de")+"2025-03-01T13:00:00Z,p1-de.drip,many\n")
	for _, c := range []struct {
		want string
		code int
		args []string
	}{
		{"--limit gush_dpm; want dry_dpm", exitUsage, []string{"--limit", "gush_dpm", rec}},
		{"--factors 0; want multiples", exitUsage, []string{"--factors", "0", rec}},
		{"--budgets 1000; want multiples", exitUsage, []string{"--budgets", "1000", rec}},
		{"--most-per-month -1", exitUsage, []string{"--most-per-month", "-1", rec}},
		{"named only once", exitUsage, []string{"-", "-"}},
		{"has no gland p9", exitFault, []string{"--gland", "p9", rec}},
		{broken + ":153: ", exitFault, []string{broken}},
		{"no such file", exitFault, []string{"none.csv"}},
	} {
		got := weepd(t, "", append([]string{"suggest", "--config", cfg}, c.args...)...)
		if got.code != c.code || !strings.Contains(got.err, c.want) || got.out != "" {
			t.Errorf("%v: %+v", c.args, got)
		}
	}
}
