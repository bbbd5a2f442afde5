package weep

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// What StopDelay says is what the detector does.
func TestStopDelayIsTheDetectors(t *testing.T) {
	m := NewModels()
	rapid.Check(t, func(t *rapid.T) {
		dry := rapid.Float64Range(1, 60).Draw(t, "dry")
		budget := rapid.Float64Range(0.001, 100).Draw(t, "budget")
		d := NewDetector(Config{DryDPM: dry, LeakDPM: 4 * dry, GushDPM: 20 * dry, FalseAlarmsPerYear: budget}, m)
		const start = time.Hour
		d.Restart(start)
		d.Arm(start, true)
		var at time.Duration
		for low := false; !low; low, _, _ = d.Out() {
			var ok bool
			if at, ok = d.Deadline(); !ok {
				t.Fatal("never out")
			}
			d.Silent(at)
		}
		if want := StopDelay(dry, budget); at-start != want {
			t.Fatalf("the detector needs %s, StopDelay says %s", at-start, want)
		}
	})
}
