package sensors

import (
	"fmt"
	"math"
)

// Turning makes "the shaft turns" of a number that grows with its load or
// speed, such as the motor's current: it turns from Threshold on, and rests
// again below Threshold minus Hysteresis. In the unit of the number.
type Turning struct {
	Threshold, Hysteresis float64

	on, known bool
}

// Validate refuses what would chatter or never change.
func (t *Turning) Validate() error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	if !finite(t.Threshold) || !finite(t.Hysteresis) || t.Hysteresis < 0 {
		return fmt.Errorf("threshold %g, hysteresis %g; want finite numbers, the hysteresis not below 0", t.Threshold, t.Hysteresis)
	}
	return nil
}

// Take gives 1 for turning and 0 for rest. A first number between the two
// limits counts as turning, which silences no alarm.
func (t *Turning) Take(v float64) float64 {
	off := t.Threshold - t.Hysteresis
	t.on = v >= t.Threshold || v >= off && (t.on || !t.known)
	t.known = true
	if t.on {
		return 1
	}
	return 0
}
