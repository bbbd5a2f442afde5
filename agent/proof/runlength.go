package proof

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
)

// cells is how finely the integral equation is cut; twice as many change the
// delays of the tables by a thousandth.
const cells = 200

// RunLength is the mean time to the alarm, s, from the sum 0 at a rate that
// holds (drops per second). It solves Page's integral equation
//
//	T(s) = E[min(X, patience(s))] + E[T(max(0, s + gain(X))); no alarm]
//
// with the sum cut into cells (Brook and Evans 1972): the chance of each cell
// is exact, T is taken at its middle; 0 is a state of its own.
func (c Cusum) RunLength(rate float64) (float64, error) {
	width := c.Threshold / cells
	a := mat.NewDense(cells+1, cells+1, nil)
	b := mat.NewVecDense(cells+1, nil)
	cdf := func(x float64) float64 {
		if x <= 0 {
			return 0
		}
		return mathext.GammaIncReg(c.Shape, c.Shape*rate*x)
	}
	for i := range cells + 1 {
		s := (float64(i) - 0.5) * width
		if i == 0 {
			s = 0
		}
		longest := c.patience(s)
		b.SetVec(i, c.meanWait(longest, rate))
		before := c.below(cdf, -s, longest) // chance of a sum of at most 0
		a.Set(i, 0, -before)
		for j := 1; j <= cells; j++ {
			upTo := c.below(cdf, float64(j)*width-s, longest)
			a.Set(i, j, before-upTo)
			before = upTo
		}
		a.Set(i, i, a.At(i, i)+1)
	}
	var t mat.VecDense
	if err := t.SolveVec(a, b); err != nil {
		return 0, err
	}
	return t.AtVec(0), nil
}

// below is the chance that an interval ends before its patience does and gains
// at most v.
func (c Cusum) below(cdf func(float64) float64, v, longest float64) float64 {
	x := (math.Log(c.To/c.From) - v/c.Shape) / (c.To - c.From) // where the gain is v
	if c.To > c.From {
		return 1 - cdf(x)
	}
	return cdf(min(x, longest))
}

// meanWait is E[min(X, longest)].
func (c Cusum) meanWait(longest, rate float64) float64 {
	if math.IsInf(longest, 1) {
		return 1 / rate
	}
	within := mathext.GammaIncReg(c.Shape+1, c.Shape*rate*longest) / rate
	return within + longest*math.Exp(logTail(c.Shape, c.Shape*rate*longest))
}

// OptimalCusum has the threshold at which false alarms come once in so many
// seconds at the rate from.
func OptimalCusum(shape, from, to, seconds float64) (Cusum, error) {
	c := Cusum{Shape: shape, From: from, To: to, Threshold: math.Log(seconds * from)}
	for range 30 {
		t, err := c.RunLength(from)
		if err != nil {
			return c, err
		}
		off := math.Log(seconds / t) // the run length grows as exp(threshold)
		c.Threshold += off
		if math.Abs(off) < 1e-4 {
			break
		}
	}
	return c, nil
}

// LordenDelay is the first-order bound of the mean delay, s: the log of the
// drops between false alarms over the information that a second brings.
func LordenDelay(shape, from, to, seconds float64) float64 {
	information := shape * (to*math.Log(to/from) - (to - from))
	return math.Log(seconds*from) / information
}
