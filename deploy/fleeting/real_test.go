//go:build integration

package main

import (
	"os/exec"
	"testing"
	"time"
)

// What deploy/fleet does with 200 stations by hand, at small size.
func TestFleetLosesNothing(t *testing.T) {
	r, err := proof(t.Output(), t.TempDir(), 6, 3, 35*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	if r.Lost != 0 || r.Events < 6 || r.Scraped != 6 || r.Series < 6*3*10 || !(r.LagMS > 0) {
		t.Errorf("%+v", r)
	}
}

// What the README shows for more stations than one Prometheus holds.
func TestShardConfiguration(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "promtool", "check", "config", "--syntax-only", "../prometheus/shard.yml").CombinedOutput()
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
