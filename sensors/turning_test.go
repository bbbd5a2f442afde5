package sensors

import (
	"math"
	"testing"
)

func TestTurning(t *testing.T) {
	s := Turning{Threshold: 10, Hysteresis: 2}
	for i, step := range []struct{ v, want float64 }{{9, 1}, {7.9, 0}, {9.9, 0}, {10, 1}, {8, 1}, {7.99, 0}, {0, 0}, {30, 1}} {
		if got := s.Take(step.v); got != step.want {
			t.Errorf("step %d: %g gives %g, want %g", i, step.v, got, step.want)
		}
	}
	if err := s.Validate(); err != nil {
		t.Error(err)
	}
	for _, bad := range []Turning{{Threshold: math.NaN()}, {Hysteresis: -1}, {Hysteresis: math.Inf(1)}} {
		if bad.Validate() == nil {
			t.Errorf("%+v is accepted", bad)
		}
	}
}
