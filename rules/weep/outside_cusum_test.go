package weep

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// poissonChart is a CUSUM of Poisson counts, C = max(0, C + X - k), or k - X on
// the low side, with its average run lengths.
type poissonChart struct {
	low       bool
	k, h      float64
	head      float64 // head start
	mean      float64 // of the counts
	atLeast   float64 // run length when it signals at C >= h; 0 = not published
	above     float64 // at C > h
	tolerance float64 // relative, of the published figure
	source    string
}

const (
	lucas = "Lucas, Counted data CUSUMs, Technometrics 27, 1985, as quoted in the help of R's package spc"
	spc   = "computed with R's package spc (xcusum for counts: pois.cusum.arl) for C > h, and by a Markov chain of its own for both"
)

var poissonCharts = []poissonChart{
	{low: false, k: 0.25, h: 10, mean: 0.25, atLeast: 438, tolerance: 2e-3, source: lucas + ", table 2"},
	{low: false, k: 0.25, h: 10, head: 5, mean: 0.25, atLeast: 333, tolerance: 2e-3, source: lucas + ", table 3"},
	{low: true, k: 0.25, h: 10, mean: 0.25, atLeast: 437, tolerance: 2e-3, source: lucas + ", table 4"},
	{low: true, k: 0.25, h: 10, head: 5, mean: 0.25, atLeast: 318, tolerance: 2e-3, source: lucas + ", table 5"},
	{low: false, k: 0.25, h: 10, mean: 0.25, atLeast: 438.1250, tolerance: 1e-6, source: spc},
	{low: true, k: 0.25, h: 10, head: 5, mean: 0.25, atLeast: 318.3333, tolerance: 1e-6, source: spc},
	{k: 1.5, h: 5, mean: 1, atLeast: 273.6500, above: 407.9581, tolerance: 1e-6, source: spc},
	{k: 1.5, h: 5, mean: 2, atLeast: 9.438293, above: 10.425455, tolerance: 1e-6, source: spc},
	{k: 5, h: 10, mean: 4, atLeast: 421.6501, above: 655.4752, tolerance: 1e-6, source: spc},
	{k: 5, h: 10, mean: 7, atLeast: 5.594349, above: 6.094193, tolerance: 1e-6, source: spc},
	{k: 7, h: 10, mean: 5, atLeast: 2409.8176, above: 4572.6013, tolerance: 1e-6, source: spc},
	{k: 7, h: 10, mean: 10, atLeast: 3.979345, above: 4.312868, tolerance: 1e-6, source: spc},
	{k: 12, h: 20, mean: 10, atLeast: 5881.2817, above: 8386.1664, tolerance: 1e-6, source: spc},
	{k: 12, h: 20, mean: 15, atLeast: 7.306058, above: 7.639395, tolerance: 1e-6, source: spc},
	{low: true, k: 7, h: 12, mean: 10, atLeast: 28383.2243, above: 60749.7607, tolerance: 1e-6, source: spc},
	{low: true, k: 7, h: 12, mean: 5, atLeast: 6.432325, above: 6.931964, tolerance: 1e-6, source: spc},
}

// quarter is the lattice on which all these charts move.
const quarter = 0.25

// runLength is exact, by a Markov chain on the lattice (Brook and Evans 1972);
// signal is the least lattice value that signals.
func (c poissonChart) runLength(t *testing.T, signal int) float64 {
	t.Helper()
	k := int(c.k / quarter)
	a := mat.NewDense(signal, signal, nil)
	ones := mat.NewVecDense(signal, nil)
	counts := distuv.Poisson{Lambda: c.mean}
	for i := range signal {
		ones.SetVec(i, 1)
		a.Set(i, i, 1)
		for x := range int(c.mean+20*math.Sqrt(c.mean)) + 30 {
			to := i + 4*x - k
			if c.low {
				to = i + k - 4*x
			}
			if to = max(0, to); to < signal {
				a.Set(i, to, a.At(i, to)-counts.Prob(float64(x)))
			}
		}
	}
	var lengths mat.VecDense
	if err := lengths.SolveVec(a, ones); err != nil {
		t.Fatal(err)
	}
	return lengths.AtVec(int(c.head / quarter))
}

// played is the mean run length of the detector's own step, told the counts: its
// table is filled with X - k (or k - X) at y = X + 1, which is exact.
func (c poissonChart) played(rng *rand.Rand, signal float64, runs int) (mean, standardError float64) {
	b := newBank(TooHigh, 1, 1)
	level := &b.levels[0]
	level.threshold = signal
	var tables [bankLevels]table
	tables[0].fill(func(y float64) float64 {
		if c.low {
			return c.k + 1 - y
		}
		return y - 1 - c.k
	})
	b.gains = newGains(tables)
	counts := distuv.Poisson{Lambda: c.mean, Src: rng}
	sum, squares := 0.0, 0.0
	for range runs {
		b.reset(0)
		level.sum = c.head
		length := 1.0
		for b.step(0, counts.Rand()+1, 1) == nil {
			length++
		}
		sum += length
		squares += length * length
	}
	mean = sum / float64(runs)
	return mean, math.Sqrt((squares/float64(runs) - mean*mean) / float64(runs))
}

// The exact chain must give the published run lengths, and the detector's step
// must give the chain's.
func TestRunLengthsOfPoissonCusum(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, c := range poissonCharts {
		h := int(c.h / quarter)
		for _, convention := range []struct {
			name      string
			signal    int
			published float64
		}{{"C >= h", h, c.atLeast}, {"C > h", h + 1, c.above}} {
			if convention.published == 0 {
				continue
			}
			exact := c.runLength(t, convention.signal)
			if math.Abs(exact/convention.published-1) > c.tolerance {
				t.Errorf("%+v, %s: the chain gives %f, published is %f", c, convention.name, exact, convention.published)
			}
			runs := int(max(20, min(2000, 6e5/exact)))
			got, se := c.played(rng, float64(convention.signal)*quarter, runs)
			if math.Abs(got-exact) > 4.5*se {
				t.Errorf("%+v, %s: the detector's step gives %f ±%f, want %f", c, convention.name, got, se, exact)
			}
		}
	}
}
