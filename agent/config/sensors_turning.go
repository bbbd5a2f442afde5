package config

import (
	"math"

	"weepd/rules/reading"
)

// threshold is what a number must reach to mean that the shaft turns.
type threshold struct{ at, below float64 }

func (t *threshold) fields(d *decoder) []field {
	t.at = math.NaN()
	return []field{
		{"threshold", d.number(&t.at, bounds{-1e9, 1e9, false, "the value from which on the shaft turns"})},
		{"hysteresis", d.number(&t.below, bounds{0, 1e9, false, "a number from 0: how far below the threshold it rests again"})},
	}
}

// turning gives what was read of the two keys; needed says that a run point
// cannot do without.
func (d *decoder) turning(p reading.Point, e entry, seen placed, t threshold, needed bool) *Turning {
	_, given := seen["threshold"]
	hysteresis, lone := seen["hysteresis"]
	switch {
	case p.Kind != reading.Run:
		for _, key := range []string{"threshold", "hysteresis"} {
			if at, found := seen[key]; found {
				d.fault(at, "remove it", "%s.%s is for run points only", e.path, key)
			}
		}
		return nil
	case !given && needed:
		d.required(e, seen, "threshold", "add `threshold:`, the value from which on the shaft turns")
		return nil
	case !given && lone:
		d.fault(hysteresis, "add `threshold:`, or remove it", "%s.hysteresis without threshold", e.path)
		return nil
	case !given || math.IsNaN(t.at):
		return nil
	}
	return &Turning{t.at, t.below}
}
