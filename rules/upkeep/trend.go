package upkeep

import (
	"math"
	"slices"
)

// z80 and z95 bound the middle 80 and 95 % of a normal variable.
const (
	z80 = 1.2815515655446004
	z95 = 1.959963984540054
)

// theilSen gives the median of the slopes of all pairs (Theil 1950; for an even
// number the mean of the middle two, as in PNNL's VSP help) with the limits of
// Sen (1968): the slopes of rank (N ± z sqrt(Var S)) / 2. inflate widens them
// for values that hang together (1 = they do not). x must not fall.
func theilSen(x, y []float64, z, inflate float64) (slope, low, high float64, ok bool) {
	var slopes []float64
	for i := range x {
		for j := range i {
			if d := x[i] - x[j]; d > 0 {
				slopes = append(slopes, (y[i]-y[j])/d)
			}
		}
	}
	if len(slopes) == 0 {
		return 0, 0, 0, false
	}
	slices.Sort(slopes)
	n := len(slopes)
	_, variance := kendall(y)
	c := z * math.Sqrt(variance*inflate)
	lower := int(math.Floor((float64(n) - c) / 2)) // ranks from 1
	upper := int(math.Ceil((float64(n)+c)/2)) + 1
	low, high = math.Inf(-1), math.Inf(1)
	if lower >= 1 {
		low = slopes[lower-1]
	}
	if upper <= n {
		high = slopes[upper-1]
	}
	return median(slopes), low, high, true
}

// kendall gives Mann's S and its variance without a trend, corrected for ties
// (Kendall 1975; Helsel and Hirsch, Statistical Methods in Water Resources).
func kendall(y []float64) (s, variance float64) {
	for i := range y {
		for j := range i {
			switch {
			case y[i] > y[j]:
				s++
			case y[i] < y[j]:
				s--
			}
		}
	}
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	variance = term(float64(len(y)))
	sorted := slices.Sorted(slices.Values(y))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		variance -= term(float64(j - i))
		i = j
	}
	return s, variance / 18
}

// mannKendall gives the standard score of S, with the correction for continuity,
// and the two-sided chance of such an S without a trend. inflate is as in
// theilSen. With few values the normal distribution is only near: up to
// exactMost values without ties the chance is exact.
func mannKendall(y []float64, inflate float64) (z, p float64) {
	s, variance := kendall(y)
	if variance <= 0 {
		return 0, 1
	}
	if s != 0 {
		z = (s - math.Copysign(1, s)) / math.Sqrt(variance*inflate)
	}
	if len(y) <= exactMost && inflate == 1 && distinct(y) {
		return z, exactKendall(len(y), math.Abs(s))
	}
	return z, math.Erfc(math.Abs(z) / math.Sqrt2)
}

const exactMost = 10

// exactKendall is the chance of |S| >= s in n values in any order, by counting
// the orders with each number of inversions.
func exactKendall(n int, s float64) float64 {
	counts := []float64{1}
	total := 1.0
	for m := 2; m <= n; m++ {
		next := make([]float64, len(counts)+m-1)
		for inversions, c := range counts {
			for k := range m {
				next[inversions+k] += c
			}
		}
		counts = next
		total *= float64(m)
	}
	pairs := float64(n * (n - 1) / 2)
	p := 0.0
	for inversions, c := range counts {
		if math.Abs(pairs-2*float64(inversions)) >= s {
			p += c / total
		}
	}
	return min(p, 1)
}

func distinct(y []float64) bool {
	sorted := slices.Sorted(slices.Values(y))
	return len(slices.Compact(sorted)) == len(y)
}

// median of sorted values.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func medianOf(y []float64) float64 { return median(slices.Sorted(slices.Values(y))) }

// spread is the standard deviation that the median distance from the median
// stands for in normal values (factor 1.4826).
func spread(y []float64) float64 {
	m := medianOf(y)
	off := make([]float64, len(y))
	for i, v := range y {
		off[i] = math.Abs(v - m)
	}
	return 1.4826 * medianOf(off)
}

// hanging is how much wider limits must be because neighbouring residuals hang
// together: (1+r)/(1-r) with their correlation r, the large-sample factor for a
// first-order process (Bayley and Hammersley 1946, from memory).
func hanging(x, y []float64, slope float64) float64 {
	residuals := make([]float64, len(y))
	for i := range y {
		residuals[i] = y[i] - slope*x[i]
	}
	m := medianOf(residuals)
	num, den := 0.0, 0.0
	for i := range residuals {
		residuals[i] -= m
		den += residuals[i] * residuals[i]
		if i > 0 {
			num += residuals[i] * residuals[i-1]
		}
	}
	if den == 0 || len(y) < 4 {
		return 1
	}
	r := min(max(num/den, 0), 0.9)
	return (1 + r) / (1 - r)
}

// slopeOf is the trend of values: at least least of them, or it is too early.
func slopeOf(x, y []float64, least int, together bool) Slope {
	s := Slope{N: len(y), P: 1}
	if len(y) < max(least, 2) {
		return s
	}
	inflate := 1.0
	if together {
		first, _, _, _ := theilSen(x, y, z80, 1)
		inflate = hanging(x, y, first)
	}
	var ok bool
	if s.Per, s.LowPer, s.HighPer, ok = theilSen(x, y, z80, inflate); !ok {
		return s
	}
	_, s.P = mannKendall(y, inflate)
	switch {
	case s.P < 0.05:
		s.Surety = Sure
	case s.P < 0.2:
		s.Surety = Likely
	default:
		s.Surety = Unsure
	}
	return s
}
