package proof

import (
	"context"
	"errors"
	"math/rand/v2"
	"testing"

	"weepd/rules/weep"
)

// A small run of the bench: the detector is behind the best possible, within its
// target, and ahead of both windows; the windows are nowhere near.
func TestDetectorIsAheadOfWindows(t *testing.T) {
	for _, r := range []Row{{Change: Change{30, 5}, Shape: 1}, {Change: Change{30, 60}, Shape: 4}} {
		if err := r.measure(t.Context(), rand.New(rand.NewPCG(6, 1)), weep.NewModels(), 24); err != nil {
			t.Fatal(err)
		}
		most := map[int]float64{1: 1.5, 4: 2}[r.Shape]
		if r.Early > 0 || r.FreshAlarms > 0 || !r.Ahead() {
			t.Errorf("%+v", r)
		}
		if ratio := r.Ratio(); ratio < 0.8 || ratio > most+4*r.Detector.Error/r.FromEdge.Cusum {
			t.Errorf("%g to %g, shape %d: %.2f x the optimum", r.FromDPM, r.ToDPM, r.Shape, ratio)
		}
		if r.OddRatio() < 0.8 || r.OddRatio() > 1.3*most {
			t.Errorf("%g to %g, shape %d: %.2f x the optimum with splash and misses", r.FromDPM, r.ToDPM, r.Shape, r.OddRatio())
		}
	}
}

func TestDelaysStopWhenTold(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := Delays(ctx, 1000000, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
