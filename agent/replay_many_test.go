package agent

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/agent/config"
	"weepd/rules"
	"weepd/rules/reading"
)

const quarryRecording = "../testdata/recordings/quarry.csv.gz"

func quarryRules(t *testing.T) rules.Config {
	t.Helper()
	cfg, err := config.Load("../testdata/recordings/quarry.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return cfg.Rules()
}

// Each of several stations gives what it gives alone.
func TestManyReplayIsEachAlone(t *testing.T) {
	base := quarryRules(t)
	tight := rules.Config{Glands: slices.Clone(base.Glands)}
	for i := range tight.Glands {
		tight.Glands[i].Limits.FalseAlarmsPerYear = 100
	}
	few := rules.Config{Glands: base.Glands[:2]}
	configs := []rules.Config{base, tight, few}
	got := make([][]rules.Transition, len(configs))
	seen := 0
	rows, err := ManyReplay{
		Configs: configs, Stdin: strings.NewReader(""),
		Row:        func(reading.Reading) { seen++ },
		Transition: func(i int, tr rules.Transition) { got[i] = append(got[i], tr) },
	}.Run(t.Context(), []string{quarryRecording})
	if err != nil || rows != int64(seen) || rows < 8000 {
		t.Fatalf("%d rows, %d seen, %v", rows, seen, err)
	}
	for i, cfg := range configs[:2] {
		var alone []rules.Transition
		_, err := ReplayFiles(t.Context(), nil, cfg, []string{quarryRecording}, NewReplayTally(cfg), func(tr rules.Transition) error {
			alone = append(alone, tr)
			return nil
		})
		if err != nil || len(alone) == 0 || !reflect.DeepEqual(got[i], alone) {
			t.Errorf("station %d: %d transitions, alone %d, %v", i, len(got[i]), len(alone), err)
		}
	}
	var ofFew []rules.Transition
	for _, tr := range got[0] {
		if tr.Gland == few.Glands[0].ID || tr.Gland == few.Glands[1].ID {
			ofFew = append(ofFew, tr)
		}
	}
	if len(ofFew) == 0 || !reflect.DeepEqual(got[2], ofFew) {
		t.Errorf("two glands: %d transitions, want %d", len(got[2]), len(ofFew))
	}
}

func TestManyReplayNamesThePlaceOfAFault(t *testing.T) {
	rec := filepath.Join(t.TempDir(), "a.csv")
	text := "time,point,value\n2026-03-01T08:00:00Z,p1-de.drip,1\n2026-03-01T08:00:01Z,p9.drip,1\n"
	if err := os.WriteFile(rec, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	rows, err := ManyReplay{Configs: []rules.Config{quarryRules(t)}}.Run(t.Context(), []string{rec})
	want := fmt.Sprintf("%s:3: reading of unknown point p9.drip; add gland p9", rec)
	if rows != 1 || err == nil || !strings.HasPrefix(err.Error(), want) {
		t.Errorf("%d rows, %v", rows, err)
	}
}

// A shaft without a run row is inferred where the agent infers it.
func TestManyReplayInfersTheShaftAsReplayDoes(t *testing.T) {
	cfg := rules.Config{Glands: slices.Clone(quarryRules(t).Glands[:1])}
	cfg.Glands[0].InferShaft = true
	var text strings.Builder
	text.WriteString("time,point,value\n")
	for s := range 3600 { // drips until it stops after half an hour, and cools
		warm := 30.0
		if s > 1800 {
			warm = 18 + 12*math.Exp(-float64(s-1800)/300)
		}
		at := time.Date(2026, 3, 1, 8, 0, s, 0, time.UTC).Format(time.RFC3339)
		if s%10 == 0 {
			fmt.Fprintf(&text, "%s,p1-de.temp,%.2f\n%s,p1-de.ref,18\n", at, warm, at)
		}
		if s <= 1800 {
			fmt.Fprintf(&text, "%s,p1-de.drip,1\n", at)
		} else if s%30 == 0 {
			fmt.Fprintf(&text, "%s,p1-de.drip,0\n", at)
		}
	}
	rec := filepath.Join(t.TempDir(), "a.csv")
	if err := os.WriteFile(rec, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	turning := cfg
	turning.Glands = slices.Clone(cfg.Glands)
	turning.Glands[0].InferShaft = false
	got := make([][]rules.Transition, 2)
	_, err := ManyReplay{
		Configs: []rules.Config{cfg, turning}, Transition: func(i int, tr rules.Transition) { got[i] = append(got[i], tr) },
	}.Run(t.Context(), []string{rec})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range []rules.Config{cfg, turning} {
		var alone []rules.Transition
		_, err := ReplayFiles(t.Context(), nil, c, []string{rec}, NewReplayTally(c), func(tr rules.Transition) error {
			alone = append(alone, tr)
			return nil
		})
		if err != nil || !reflect.DeepEqual(got[i], alone) {
			t.Errorf("station %d: %d transitions, alone %d, %v", i, len(got[i]), len(alone), err)
		}
	}
	if reflect.DeepEqual(got[0], got[1]) {
		t.Error("inferred or not makes no difference: this test shows nothing")
	}
}
