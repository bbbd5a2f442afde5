package proof

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// Window is the plain way: drops are counted in clock windows, and so many
// windows in a row beyond a limit make an alarm at the end of the last.
type Window struct {
	Span  float64 // s
	InRow int     // 1 or 2
	Low   bool    // too few drops are beyond the limit; otherwise too many
	// Limit is the last count beyond. So that false alarms come exactly as often
	// as asked, a count one nearer to normal is beyond with a chance: without
	// that, windows would be slower still.
	Limit  int
	Chance float64
}

// beyond reports whether a count is beyond the limit, as a chance.
func (w Window) beyond(count int) float64 {
	past := w.Limit - count
	if !w.Low {
		past = -past
	}
	switch {
	case past >= 0:
		return 1
	case past == -1:
		return w.Chance
	default:
		return 0
	}
}

// phases is a drip of gamma intervals of a whole shape as what it then is: a
// drop at each shape-th event of a Poisson stream. It gives, from each phase (a
// window begins so many events after a drop) to each, the chance that a window
// ends there, and that it also is beyond the limit: the exact distribution of
// counts with its memory from window to window.
func (w Window) phases(shape int, rate float64) (all, out *mat.Dense) {
	all, out = mat.NewDense(shape, shape, nil), mat.NewDense(shape, shape, nil)
	mean := float64(shape) * rate * w.Span
	most := int(mean + 12*math.Sqrt(mean) + 40)
	for events := range most {
		lg, _ := math.Lgamma(float64(events) + 1)
		p := math.Exp(float64(events)*math.Log(mean) - mean - lg)
		for from := range shape {
			to, count := (from+events)%shape, (from+events)/shape
			all.Set(from, to, all.At(from, to)+p)
			out.Set(from, to, out.At(from, to)+p*w.beyond(count))
		}
	}
	return all, out
}

// RunLength is the mean time to a false alarm, s, at a rate that holds (drops
// per second), exactly.
func (w Window) RunLength(shape int, rate float64) float64 {
	all, out := w.phases(shape, rate)
	n := shape * w.InRow
	a := mat.NewDense(n, n, nil) // states: windows in a row beyond, and phase
	ones := mat.NewVecDense(n, nil)
	for row := range w.InRow {
		for i := range shape {
			s := row*shape + i
			ones.SetVec(s, 1)
			for j := range shape {
				a.Set(s, j, a.At(s, j)-(all.At(i, j)-out.At(i, j)))
				if row+1 < w.InRow {
					a.Set(s, shape+j, a.At(s, shape+j)-out.At(i, j))
				}
			}
			a.Set(s, s, a.At(s, s)+1)
		}
	}
	var t mat.VecDense
	if t.SolveVec(a, ones) != nil {
		return math.Inf(1)
	}
	sum := 0.0
	for i := range shape {
		sum += t.AtVec(i) / float64(shape)
	}
	if sum <= 0 { // so rare that rounding hides it
		return math.Inf(1)
	}
	return sum * w.Span
}

// SetLimit finds the limit with one false alarm in so many seconds at a rate.
func (w Window) SetLimit(shape int, rate, seconds float64) (Window, error) {
	toward := 1 // more false alarms
	w.Limit, w.Chance = -1, 0
	if !w.Low {
		toward = -1
		w.Limit = int(3*rate*w.Span) + 60
	}
	for range 100000 {
		next := w
		next.Limit += toward
		if next.RunLength(shape, rate) < seconds {
			return w.setChance(shape, rate, seconds), nil
		}
		w = next
	}
	return w, fmt.Errorf("no limit for a window of %g s at %g drops per second", w.Span, rate)
}

func (w Window) setChance(shape int, rate, seconds float64) Window {
	low, high := 0.0, 1.0
	for range 40 {
		w.Chance = (low + high) / 2
		if w.RunLength(shape, rate) < seconds {
			high = w.Chance
		} else {
			low = w.Chance
		}
	}
	w.Chance = low
	return w
}

// Delay plays one change of the weep at a moment anywhere in a window and gives
// the seconds from it to the alarm.
func (w Window) Delay(rng *rand.Rand, shape, fromDPM, toDPM float64) float64 {
	drip := NewDrip(rng, shape, fromDPM, 0, 0)
	change := w.Span * (float64(w.InRow) - rng.Float64())
	drip.Plan(change, toDPM)
	row := 0
	for end := w.Span; ; end += w.Span {
		count := 0
		for ; drip.Due() < end; drip.Take() { // every drop is counted
			count++
		}
		if row++; rng.Float64() >= w.beyond(count) {
			row = 0
		}
		if row == w.InRow && end > change {
			return end - change
		}
		row = min(row, w.InRow-1)
	}
}
