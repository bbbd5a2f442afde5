package upkeep

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// nile is the yearly flow of the Nile at Aswan 1871 to 1970, 10^8 m³: R's data set
// `Nile` (values from memory; that the statistics below agree to the last digit
// shows that they are right).
var nile = []float64{
	1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
	1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
	831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
	781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
	744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
}

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

// Computed with Python packages on R's data set: S, tie-corrected Var S, Z with
// the correction for continuity, p and Sen's slope.
func TestTrendOfTheNile(t *testing.T) {
	s, variance := kendall(nile)
	if s != -1387 || !near(variance, 112728.33, 0.01) {
		t.Errorf("S %g, Var S %g; want -1387, 112728.33", s, variance)
	}
	z, p := mannKendall(nile, 1)
	if !near(z, -4.128067, 1e-6) || !near(p, 3.6583e-5, 1e-9) {
		t.Errorf("Z %g, p %g; want -4.128067, 3.6583e-5", z, p)
	}
	slope, low, high, ok := theilSen(numbers(100), nile, z95, 1)
	if !ok || !near(slope, -2.6, 1e-12) || !(low < slope && slope < high && high < 0) {
		t.Errorf("slope %g (%g to %g); want -2.6, surely below 0", slope, low, high)
	}
}

// Helsel and Hirsch, Statistical Methods in Water Resources: the examples of
// Kendall's test and of Theil's line (their data from memory).
func TestTrendExamplesOfHelselAndHirsch(t *testing.T) {
	y := []float64{1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96}
	s, variance := kendall(y)
	z, p := mannKendall(y, 1)
	if s != 21 || variance != 125 || !near(z, 1.788854, 1e-6) {
		t.Errorf("S %g, Var %g, Z %g; want 21, 125, 1.788854", s, variance, z)
	}
	// Their table of exact chances for n = 10, S = 21 gives 0.036 one-sided (from
	// memory).
	if !near(p, 2*0.036, 0.001) {
		t.Errorf("exact p %g, want 0.072", p)
	}
	slope, _, _, _ := theilSen([]float64{1, 2, 3, 4, 5, 6, 7}, []float64{1, 2, 3, 4, 5, 16, 7}, z80, 1)
	if slope != 1 {
		t.Errorf("Theil's slope %g, want 1 (least squares: 1.714)", slope)
	}
}

// The exact chance is that of counting all orders.
func TestExactKendallIsThatOfAllOrders(t *testing.T) {
	for n := 2; n <= 7; n++ {
		want := make(map[float64]float64)
		count := 0.0
		permute(numbers(n), func(y []float64) {
			count++
			s, _ := kendall(y)
			for at := range n*(n-1)/2 + 1 {
				if math.Abs(s) >= float64(at) {
					want[float64(at)]++
				}
			}
		})
		for s, c := range want {
			if got := exactKendall(n, s); !near(got, c/count, 1e-12) {
				t.Errorf("n %d, |S| >= %g: %g, want %g", n, s, got, c/count)
			}
		}
	}
}

func permute(y []float64, do func([]float64)) {
	var step func(int)
	step = func(k int) {
		if k == len(y) {
			do(y)
			return
		}
		for i := k; i < len(y); i++ {
			y[k], y[i] = y[i], y[k]
			step(k + 1)
			y[k], y[i] = y[i], y[k]
		}
	}
	step(0)
}

// Against naive models: the slope is the median of all, S counts all pairs, and
// both follow a change of scale, sign and place.
func TestTrendAgainstAPlainModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20).Draw(t, "n")
		y := make([]float64, n)
		for i, v := range rapid.SliceOfN(rapid.IntRange(-40, 40), n, n).Draw(t, "y") { // with ties
			y[i] = float64(v) / 8
		}
		x := numbers(n)
		var all []float64
		for i := range n {
			for j := i + 1; j < n; j++ {
				all = append(all, (y[j]-y[i])/float64(j-i))
			}
		}
		slices.Sort(all)
		slope, low, high, _ := theilSen(x, y, z80, 1)
		if !near(slope, medianOf(all), 1e-9) || low > slope || high < slope {
			t.Fatalf("slope %g (%g to %g), want %g", slope, low, high, medianOf(all))
		}
		turned := make([]float64, n)
		for i, v := range y {
			turned[i] = 3 - 2*v
		}
		again, _, _, _ := theilSen(x, turned, z80, 1)
		a, _ := kendall(y)
		b, _ := kendall(turned)
		if !near(again, -2*slope, 1e-9) || a != -b {
			t.Fatalf("turned: slope %g of %g, S %g of %g", again, slope, b, a)
		}
	})
}

// The 80 % limits hold the slope about four times in five, and more trends are
// not found in noise than the surety says.
func TestSlopesHoldWhatTheySay(t *testing.T) {
	held, sure, likely := 0, 0, 0
	const runs = 2000
	next := uniform(1)
	for range runs {
		y := make([]float64, 12)
		for i := range y {
			y[i] = normal(next) + 0.3*float64(i)
		}
		s := slopeOf(numbers(12), y, 4, false)
		if s.LowPer <= 0.3 && 0.3 <= s.HighPer {
			held++
		}
		for i := range y {
			y[i] -= 0.3 * float64(i)
		}
		switch slopeOf(numbers(12), y, 4, false).Surety {
		case Sure:
			sure++
		case Likely:
			likely++
		case TooEarly, Unsure:
		}
	}
	share := func(n int) float64 { return float64(n) / runs }
	if share(held) < 0.77 || share(held) > 0.87 {
		t.Errorf("the limits hold %.3f, want about 0.8", share(held))
	}
	if share(sure) > 0.06 || share(sure+likely) > 0.23 {
		t.Errorf("in noise %.3f are sure and %.3f likely, want at most 0.05 and 0.15 more", share(sure), share(likely))
	}
}

// uniform is a small generator of numbers from 0 to 1 (Park and Miller 1988).
func uniform(seed uint64) func() float64 {
	return func() float64 {
		seed = seed * 48271 % 2147483647
		return float64(seed) / 2147483647
	}
}

func normal(next func() float64) float64 {
	return math.Sqrt(-2*math.Log(next())) * math.Cos(2*math.Pi*next())
}
