//go:build integration

package integration

import (
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A recording on standard input takes no memory to speak of, however long it is.
func TestReplayOfStandardInputIsFlatInMemory(t *testing.T) {
	cfg := write(t, filepath.Join(t.TempDir(), "quarry.yaml"), "station: quarry\nglands: [{id: g01, normal_dpm: 30}, {id: g02, normal_dpm: 30}]\n")
	const mostKiB = 64 << 10
	for _, span := range []string{"20h", "2000h"} { // 5 and 460 MB
		simulate := exec.CommandContext(t.Context(), weepd, "simulate", "--glands", "2", "--for", span)
		replay := exec.CommandContext(t.Context(), weepd, "replay", "--config", cfg, "-")
		pipe, err := simulate.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		replay.Stdin, replay.Stderr = pipe, &said
		if err := simulate.Start(); err != nil {
			t.Fatal(err)
		}
		if err := replay.Run(); err != nil {
			t.Fatal(err, said.String())
		}
		if err := simulate.Wait(); err != nil {
			t.Fatal(err)
		}
		use := replay.ProcessState.SysUsage().(*syscall.Rusage)
		t.Logf("%s: %s, at most %d KiB resident", span, strings.TrimSpace(said.String()), use.Maxrss)
		if use.Maxrss > mostKiB || !strings.HasPrefix(said.String(), "rows used: ") {
			t.Errorf("%s: %d KiB resident, at most %d are wanted; %s", span, use.Maxrss, mostKiB, said.String())
		}
	}
}

// The race against wc runs and counts; its ratio is for a quiet machine, so only
// a replay that has become many times slower fails here.
func TestReplayRacesWC(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), weepd, "proof", "replay", "--for", "400h", "--rounds", "5").Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	var result struct {
		Rows      string
		Ratio     float64
		Processor float64 `json:"replay_processor_s"`
		RSS       int64   `json:"replay_max_rss_kib"`
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &result); err != nil {
		t.Fatal(err, lines)
	}
	t.Log(lines[len(lines)-1])
	if len(lines) != 6 || len(result.Rows) != 7 || result.RSS > 64<<10 {
		t.Errorf("%d lines, %+v", len(lines), result)
	}
	if perRow := result.Processor / 1.008e6; perRow > 400e-9 {
		t.Errorf("%.0f ns of processor a row", perRow*1e9)
	}
}
