package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules"
)

const twoGlands = `station: quarry
glands:
  - id: p1-de
  - id: p2-de
`

// steadyDrops is a recording of one drop every two seconds for five minutes.
func steadyDrops(gland string) string {
	var b strings.Builder
	b.WriteString("time,point,value\n")
	start := time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC)
	for i := range 151 {
		fmt.Fprintf(&b, "%s,%s.drip,1\n", start.Add(time.Duration(i)*2*time.Second).Format(time.RFC3339), gland)
	}
	return b.String()
}

func TestReplaySummary(t *testing.T) {
	cfg, rec := file(t, "quarry.yaml", twoGlands), file(t, "day.csv", steadyDrops("p1-de"))
	got := weepd(t, "", "replay", "--config", cfg, rec)
	if got.code != exitDone || got.err != "rows used: 151\n" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		"GLAND  ROWS  FROM (UTC)                TO (UTC)                  WATCHED  TURNING  DROPS  MEAN DPM, TURNING  LITRES\n",
		"p1-de  151   2025-03-01T12:00:00.000Z  2025-03-01T12:05:00.000Z  5m0s     5m0s     151    30.2               -\n",
		"p2-de  0     -",
	} {
		if !strings.Contains(got.out, want) {
			t.Errorf("%q is missing in\n%s", want, got.out)
		}
	}
}

func TestReplayJSONPrintsNothingElse(t *testing.T) {
	cfg := file(t, "quarry.yaml", "station: quarry\nglands:\n  - {id: p1-de, limits: {leak_dpm: 1000, dry_dpm: 1}}\n")
	got := weepd(t, steadyDrops("p1-de"), "replay", "--json", "-c", cfg, "-")
	if got.code != exitDone || got.err != "rows used: 151\n" {
		t.Fatalf("%+v", got)
	}
	for line := range strings.Lines(got.out) {
		if !strings.HasPrefix(line, `{"time":"2025-`) {
			t.Errorf("line %q", line)
		}
	}
}

func TestReplayFaults(t *testing.T) {
	cfg := file(t, "quarry.yaml", twoGlands)
	noYAML := file(t, "bad.yaml", "station: quarry\n")
	unknown := file(t, "unknown.csv", steadyDrops("p1-de")+"2025-03-01T13:00:00Z,p9.drip,1\n")
	broken := file(t, "broken.csv", steadyDrops("p1-de")+"2025-03-01T13:00:00Z,p1-de.drip,many\n")
	none := filepath.Join(t.TempDir(), "none.csv")
	good := file(t, "good.csv", steadyDrops("p2-de"))
	for _, c := range []struct {
		name, want string
		rows       int
		args       []string
	}{
		{"configuration", noYAML + ":1:1: glands is missing;", -1, []string{"--config", noYAML, good}},
		{"unknown gland", unknown + ":153: reading of unknown point p9.drip; add gland p9", 151, []string{"--config", cfg, unknown}},
		{"text for a number", broken + ":153: ", 151, []string{"--config", cfg, broken}},
		{"among others", broken + ":153: ", 302, []string{"--config", cfg, good, broken}},
		{"no such file", none, 0, []string{"--config", cfg, good, none}},
		{"twice the same", good + ":2: p2-de.drip at this time stands in another recording too", 1, []string{"--config", cfg, good, good}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := weepd(t, "", append([]string{"replay"}, c.args...)...)
			if got.code != exitFault || !strings.Contains(got.err, c.want) {
				t.Errorf("%+v\nwant %s", got, c.want)
			}
			if c.rows >= 0 && !strings.Contains(got.err, fmt.Sprintf("rows used: %d\n", c.rows)) {
				t.Errorf("%q does not say %d rows", got.err, c.rows)
			}
			if reported := strings.Contains(got.out, "MEAN DPM"); reported != (c.rows > 0) {
				t.Errorf("%d rows before the fault, reported: %v", c.rows, reported)
			}
		})
	}
}

func TestReplayOfPackedStandardInput(t *testing.T) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write([]byte(steadyDrops("p2-de"))); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", t.TempDir())
	cfg, rec := file(t, "quarry.yaml", twoGlands), file(t, "day.csv", steadyDrops("p1-de"))
	got := weepd(t, packed.String(), "replay", "--config", cfg, rec, "-")
	if got.code != exitDone || got.err != "rows used: 302\n" {
		t.Errorf("%+v", got)
	}
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) > 0 {
		t.Errorf("left in the temporary folder: %v, %v", left, err)
	}
	if got := weepd(t, "", "replay", "--config", cfg, "-", "-"); got.code != exitUsage {
		t.Errorf("standard input twice: %+v", got)
	}
}

// The reports with transitions of every kind, whatever the rules raise.
func TestReports(t *testing.T) {
	at := time.Duration(time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC).UnixNano())
	transitions := []rules.Transition{
		{At: at, Gland: "p1-de", Condition: rules.Dry, Active: true, Priority: rules.High, Weep: rules.Weep{DPM: 3.14159, Known: true}, Message: `Too "dry" <now>.`},
		{At: at + 90*time.Second + 1, Gland: "p1-de", Condition: rules.Dry, Priority: rules.High, Rise: rules.Quantity{Value: 12.345, Known: true}},
		{At: at + 91*time.Second, Gland: "p2-de", Condition: rules.TempSensor, Active: true},
	}
	cfg, faults := config.Parse("quarry.yaml", []byte(twoGlands))
	if faults != nil {
		t.Fatal(faults)
	}
	tally := agent.NewReplayTally(cfg.Rules())
	var table, lines bytes.Buffer
	asTable, asJSON := newTableReport(&table, cfg), jsonReport{&lines}
	for _, tr := range transitions {
		tally.Transition(tr)
		if err := asTable.transition(tr); err != nil {
			t.Fatal(err)
		}
		if err := asJSON.transition(tr); err != nil {
			t.Fatal(err)
		}
	}
	if err := asTable.end(tally); err != nil {
		t.Fatal(err)
	}
	wantLines := `{"time":"2025-03-01T12:00:00.000Z","gland":"p1-de","condition":"dry","state":"active","priority":"high","dpm":3.14,"rise_c":null,"message":"Too \"dry\" <now>."}
{"time":"2025-03-01T12:01:30.000000001Z","gland":"p1-de","condition":"dry","state":"cleared","priority":"high","dpm":null,"rise_c":12.35,"message":""}
{"time":"2025-03-01T12:01:31.000Z","gland":"p2-de","condition":"temp-sensor","state":"active","priority":"low","dpm":null,"rise_c":null,"message":""}
`
	if got := lines.String(); got != wantLines {
		t.Errorf("got\n%s\nwant\n%s", got, wantLines)
	}
	for _, want := range []string{
		"TIME (UTC)                GLAND  CONDITION    STATE    PRIORITY      DPM  RISE °C  MESSAGE\n",
		"2025-03-01T12:00:00.000Z  p1-de  dry          active   high          3.1        -  Too \"dry\" <now>.\n",
		"p1-de  dry          1      1m30s          cleared\n",
		"p2-de  temp-sensor  1",
		"still active\n",
	} {
		if !strings.Contains(table.String(), want) {
			t.Errorf("%q is missing in\n%s", want, table.String())
		}
	}
}
