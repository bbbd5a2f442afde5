//go:build integration

package main

import (
	"math/rand/v2"
	"testing"
)

func built(t *testing.T) (dir, binary string) {
	t.Helper()
	dir = t.TempDir()
	binary, err := build(dir)
	if err != nil {
		t.Fatal(err)
	}
	return dir, binary
}

// What deploy/soak does 500 times by hand, at small size.
func TestNothingIsLost(t *testing.T) {
	dir, binary := built(t)
	seed := rand.Uint64() >> 1
	t.Logf("seed %d", seed)
	v, err := runRounds(t.Output(), dir, binary, seed, 20)
	if err != nil {
		t.Fatal(err)
	}
	if err := v.err(); err != nil || v.events < 100 {
		t.Errorf("%d events, %v", v.events, err)
	}
}

// Hours without a broker, at small size.
func TestOffline(t *testing.T) {
	dir, binary := built(t)
	if err := runOffline(t.Output(), dir, binary, 6); err != nil {
		t.Error(err)
	}
}

func TestFailingDisk(t *testing.T) {
	dir, binary := built(t)
	if err := runDisk(t.Output(), dir, binary); err != nil {
		t.Error(err)
	}
}
