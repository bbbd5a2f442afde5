//go:build integration

package main

import (
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
