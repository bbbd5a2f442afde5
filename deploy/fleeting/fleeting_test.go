package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"
)

func TestWorthIsOfTheGrowth(t *testing.T) {
	core, gb := worth([]step{{Stations: 200, CPU: 3, MB: 20}, {Stations: 1000, CPU: 7, MB: 40}})
	if core != 20000 || gb != 40000 { // 0.005 % and 25 kB each
		t.Errorf("%d stations a processor, %d a GB", core, gb)
	}
	if core, _ := worth([]step{{Stations: 200, CPU: 3}, {Stations: 1000, CPU: 3}}); core != 0 {
		t.Errorf("nothing measured gives %d", core)
	}
}

func TestLagsAreOfWhatIsTimed(t *testing.T) {
	r := &room{got: make(map[string]map[uint64]bool)}
	if r.lag(.5) != 0 {
		t.Error("a lag without an event")
	}
	r.lags = []time.Duration{4 * time.Millisecond, time.Millisecond, 2 * time.Millisecond}
	if r.lag(.5) != 2 || r.lag(1) != 4 {
		t.Errorf("median %g, most %g", r.lag(.5), r.lag(1))
	}
	r.got["s0000"] = map[uint64]bool{1: true, 3: true}
	if got := r.missing("s0000", []uint64{1, 2, 3, 4}); got != 2 {
		t.Errorf("%d missing, want 2", got)
	}
}

func TestLastLineIsTheResult(t *testing.T) {
	var out bytes.Buffer
	if err := tell(&out, result{Stations: 2, Lost: 1}, true); !errors.Is(err, errMissed) {
		t.Errorf("an event is lost, and no error: %v", err)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(strings.TrimSpace(out.String())), &got); err != nil || got["lost"] != 1.0 || got["events"] != 0.0 || got["lag_ms"] != 0.0 {
		t.Errorf("%s: %v", out.String(), err)
	}
	if code := run([]string{"--stations", "0"}, &out, &out); code != 2 {
		t.Errorf("no stations: exit code %d", code)
	}
}
