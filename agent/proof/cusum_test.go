package proof

import (
	"math"
	"math/rand/v2"
	"testing"
)

// known are delays, s, of the optimal CUSUM and Lorden's bound for shapes 1 and
// 4, one false alarm a year; computed apart from this code, thresholds from the
// integral equation, checked by simulation. 0 = not given.
var known = []struct {
	from, to              float64
	lorden, fromOld, edge [2]float64
}{
	{30, 5, [2]float64{62.0, 15.5}, [2]float64{57.8, 16.2}, [2]float64{165.5, 46.0}},
	{60, 15, [2]float64{42.8, 10.7}, [2]float64{39.1, 10.8}, [2]float64{91.4, 25.2}},
	{60, 90, [2]float64{160, 39.9}, [2]float64{128, 35.1}, [2]float64{}},
	{60, 120, [2]float64{44.7, 11.2}, [2]float64{38.6, 10.5}, [2]float64{48.2, 13.1}},
	{30, 60, [2]float64{85.8, 21.5}, [2]float64{73.6, 20.1}, [2]float64{91.9, 25.1}},
	{20, 15, [2]float64{1417, 354}, [2]float64{1042, 291}, [2]float64{}},
	{20, 5, [2]float64{}, [2]float64{}, [2]float64{253.9, 70.5}},
	{60, 180, [2]float64{}, [2]float64{}, [2]float64{20.2, 5.5}},
}

// The integral equation must reproduce both tables; 5 % are asked for, it does
// so to their last digit.
func TestOptimalCusumIsTheKnownOne(t *testing.T) {
	for _, row := range known {
		c := Change{row.from, row.to}
		for i, shape := range []float64{1, 4} {
			for _, level := range []struct{ from, want float64 }{{row.from, row.fromOld[i]}, {c.EdgeDPM(), row.edge[i]}} {
				if level.want == 0 {
					continue
				}
				best, err := OptimalCusum(shape, level.from/60, row.to/60, yearSeconds)
				if err != nil {
					t.Fatal(err)
				}
				got, err := best.RunLength(row.to / 60)
				if err != nil || math.Abs(got/level.want-1) > 0.01 {
					t.Errorf("%.1f to %g, shape %g: %.2f s (%v), want %g", level.from, row.to, shape, got, err, level.want)
				}
			}
			if got := LordenDelay(shape, row.from/60, row.to/60, yearSeconds); row.lorden[i] != 0 && math.Abs(got/row.lorden[i]-1) > 0.005 {
				t.Errorf("%g to %g, shape %g: Lorden's bound %.2f, want %g", row.from, row.to, shape, got, row.lorden[i])
			}
		}
	}
}

// The equation against the same CUSUM played: false alarms at a threshold at
// which they can be counted, and the delay.
func TestRunLengthIsWhatIsPlayed(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for _, c := range []Cusum{
		{Shape: 1, From: 0.5, To: 0.2, Threshold: 4},
		{Shape: 4, From: 0.5, To: 0.2, Threshold: 4},
		{Shape: 1, From: 0.5, To: 1, Threshold: 4},
		{Shape: 4, From: 0.5, To: 1, Threshold: 4},
	} {
		for _, rate := range []float64{c.From, c.To} {
			want, err := c.RunLength(rate)
			if err != nil {
				t.Fatal(err)
			}
			var played Mean
			for range 3000 {
				played.add(c.Simulated(rng, rate))
			}
			if math.Abs(played.Mean-want) > 4*played.Error+0.005*want {
				t.Errorf("%+v at %g/s: the equation gives %.2f s, played %.2f ±%.2f", c, rate, want, played.Mean, played.Error)
			}
		}
	}
}
