//go:build integration

package main

import (
	"debug/buildinfo"
	"maps"
	"testing"
	"time"
)

// What deploy/footprint does in minutes by hand, at small size. Memory is near
// its target; processor time of so short a run on a busy machine is only there.
func TestBesideTheFloor(t *testing.T) {
	dir := t.TempDir()
	b, err := build(dir)
	if err != nil {
		t.Fatal(err)
	}
	if agent, floor := modules(t, b.weepd), modules(t, b.floor); !maps.Equal(agent, floor) {
		t.Errorf("floor/linked.go must use what weepd links; weepd: %v; the floor: %v", agent, floor)
	}
	costs, err := b.side(t.Output(), t.TempDir(), 16*time.Second, true, 8)
	if err != nil {
		t.Fatal(err)
	}
	floor, agent := costs[0], costs[2]
	const early = 1.1 // the floor's collector has not settled so soon after the start
	if ratio := agent.rss / floor.rss; !(ratio > 1 && ratio <= early*rssMost) {
		t.Errorf("memory is %.2f of the floor's, want at most %.2f", ratio, early*rssMost)
	}
	if !(floor.cpu > 0 && agent.cpu > floor.cpu) {
		t.Errorf("costs %+v", costs)
	}
}

// modules gives what a binary was linked of.
func modules(t *testing.T, binary string) map[string]string {
	t.Helper()
	info, err := buildinfo.ReadFile(binary)
	if err != nil {
		t.Fatal(err)
	}
	all := make(map[string]string)
	for _, m := range info.Deps {
		all[m.Path] = m.Version
	}
	return all
}
