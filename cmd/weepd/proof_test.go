package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"weepd/agent/proof"
	"weepd/rules"
)

// lastLine decodes the JSON that a proof ends with.
func lastLine(t *testing.T, out string, into any) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), into); err != nil {
		t.Fatalf("%v in %q", err, lines[len(lines)-1])
	}
}

func TestProofQuiet(t *testing.T) {
	state := filepath.Join(t.TempDir(), "state")
	args := []string{"proof", "quiet", "--years", "3", "--days", "0.1", "--stretches", "0", "--state", state}
	first := weepd(t, "", args...)
	var tally proof.Tally
	lastLine(t, first.out, &tally)
	if first.code != exitDone || tally.GlandYears < 0.0008 || tally.Drops == 0 || len(tally.Alarms) != int(rules.Conditions) || tally.High95["dry"] <= 0 {
		t.Errorf("%+v", first)
	}
	if strings.Count(first.err, "\n") != 3 {
		t.Errorf("progress: %q", first.err)
	}
	if again := weepd(t, "", args...); again.code != exitDone || again.err != "" || again.out != first.out {
		t.Errorf("resumed when all is done: %+v", again)
	}
	args[5] = "0.2"
	if other := weepd(t, "", args...); other.code != exitFault || !strings.Contains(other.err, "take a new file") {
		t.Errorf("another length: %+v", other)
	}
}

func TestProofDelays(t *testing.T) {
	got := weepd(t, "", "proof", "delays", "--runs", "2")
	var sum delaySummary
	lastLine(t, got.out, &sum)
	if got.code != exitDone || got.err != "" || len(sum.Rows) != 12 || sum.Runs != 2 || sum.WorstK1 <= 0 || sum.WorstOddK4 <= 0 {
		t.Errorf("%+v", got)
	}
	for _, r := range sum.Rows {
		if r.Detector.Mean <= 0 || r.FromEdge.Cusum <= r.FromOld.Cusum || r.Minute.Delay.Mean <= 0 || r.Fives.Delay.Mean <= 0 {
			t.Errorf("%+v", r)
		}
	}
	for _, title := range []string{"LORDEN", "2 x 5 MIN", "FRESH"} {
		if !strings.Contains(got.out, title) {
			t.Errorf("no column %s", title)
		}
	}
}

func TestProofShowsFalseAlarmsAndDisagreement(t *testing.T) {
	var text bytes.Buffer
	out := &printer{w: &text}
	year := proof.Year{Scene: proof.NewScene(1), Years: 1, Alarms: []proof.Alarm{{Condition: "dry", Day: 12.5, Message: "said so"}}}
	printFalseAlarms(out, []proof.Year{year})
	printEdges(out, []proof.EdgeRow{
		{Edge: proof.Edge{Low: true, DPM: 15, Shape: 4, Odd: 0.02}, Rare: proof.Rate{PerYear: 0.25, Low95: 0.2, High95: 0.3}, Check: proof.Rate{High95: 9}, Plain: proof.Rate{High95: 8}},
		{Edge: proof.Edge{DPM: 90, Shape: 1}, Check: proof.Rate{High95: 1}, Plain: proof.Rate{Low95: 2, High95: 8}},
	})
	for _, want := range []string{"scene 1 (low-edge", "day 12.5000, dry: said so", "low\t15\t4\t2 %\t0.25 (0.2 to 0.3)", "yes\n", "NO\n"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("no %q in %s", want, text.String())
		}
	}
}

func TestProofRefuses(t *testing.T) {
	for _, args := range [][]string{
		{"proof"}, {"proof", "quiet"}, {"proof", "quiet", "--state", "x", "--years", "0"},
		{"proof", "delays", "--runs", "1"}, {"proof", "delays", "now"},
	} {
		if got := weepd(t, "", args...); got.code != exitUsage || got.out != "" {
			t.Errorf("%v: %+v", args, got)
		}
	}
	if got := weepd(t, "", "--help"); strings.Contains(got.out, "proof") {
		t.Error("the help shows the hidden command")
	}
}

func TestProofOutlook(t *testing.T) {
	got := weepd(t, "", "proof", "outlook", "--packings", "10")
	var sum proof.Summary
	lastLine(t, got.out, &sum)
	if got.code != exitDone || sum.Packings != 10 || sum.Adjust.Stated < 10 || sum.Adjust.Held == 0 || sum.Steps.Turns < 20 {
		t.Errorf("%+v", got)
	}
	if bad := weepd(t, "", "proof", "outlook", "--packings", "0"); bad.code != exitUsage {
		t.Errorf("%+v", bad)
	}
}
