package weep

import (
	"math"
	"testing"
	"time"
)

// garwood: 95 % two-sided limits of a Poisson count, computed with scipy 1.10.1
// (chi2.ppf) and, for 0, 1, 5 and 10, equal to R's poisson.test.
var garwood = []struct{ n, low, high float64 }{
	{0, 0, 3.688879}, {1, 0.025318, 5.571643}, {2, 0.242209, 7.224688},
	{3, 0.618672, 8.767273}, {4, 1.089865, 10.241589}, {5, 1.623486, 11.668332},
	{6, 2.201894, 13.059474}, {7, 2.814363, 14.422675}, {8, 3.453832, 15.763189},
	{9, 4.115373, 17.084803}, {10, 4.795389, 18.390356}, {20, 12.216520, 30.888378},
	{40, 28.576586, 54.468647}, {60, 45.786321, 77.231893},
}

func TestLimitsAreGarwoods(t *testing.T) {
	for _, g := range garwood {
		r := Limits(g.n, 1, 1)
		if math.Abs(r.LowDPM-g.low) > 2e-6 || math.Abs(r.HighDPM-g.high) > 2e-6 {
			t.Errorf("n = %g: %.6f to %.6f, want %.6f to %.6f", g.n, r.LowDPM, r.HighDPM, g.low, g.high)
		}
		half := Limits(g.n, 2, 1)
		if math.Abs(half.HighDPM*2-r.HighDPM) > 1e-9 {
			t.Errorf("n = %g: twice the time must halve the limit", g.n)
		}
	}
}

func TestLargeCountsJoinSmoothly(t *testing.T) {
	below, above := Limits(999, 1, 1), Limits(1001, 1, 1)
	if !(above.LowDPM > below.LowDPM) || math.Abs(above.HighDPM-below.HighDPM-2.06) > 0.05 {
		t.Errorf("limits jump where the approximation begins: %v, %v", below, above)
	}
}

// At 30 a minute ten seconds hold five drops: that is what is known.
func TestTenSecondsHoldFiveDrops(t *testing.T) {
	var c Counter
	c.Restart(0)
	for i := 1; i <= 5; i++ {
		c.Add(time.Duration(i)*2*time.Second, 1)
	}
	r, ok := c.Known(10*time.Second, 0, 1)
	if !ok || math.Abs(r.DPM-30) > 1e-9 || math.Abs(r.LowDPM-6*1.623486) > 1e-4 || math.Abs(r.HighDPM-6*11.668332) > 1e-4 {
		t.Errorf("got %+v, %v", r, ok)
	}
	regular, _ := c.Known(10*time.Second, 0, 8)
	if regular.LowDPM <= r.LowDPM || regular.HighDPM >= r.HighDPM {
		t.Errorf("a regular drip must be known better: %+v against %+v", regular, r)
	}
}

// With no drop for a while the upper limit falls by itself.
func TestSilenceLowersTheUpperLimit(t *testing.T) {
	var c Counter
	c.Restart(0)
	for i := 1; i <= 40; i++ {
		c.Add(time.Duration(i)*time.Second, 1)
	}
	last := math.Inf(1)
	for s := 41; s < 4000; s += 7 {
		r, ok := c.Known(time.Duration(s)*time.Second, 0, 1)
		if !ok || r.HighDPM > last {
			t.Fatalf("after %d s: %+v, %v; the limit was %g", s, r, ok, last)
		}
		last = r.HighDPM
	}
	if want := 3.688879 / (float64(3994-40) / 60); math.Abs(last-want) > 1e-2 {
		t.Errorf("after an hour of silence the upper limit is %g, want %g", last, want)
	}
}

func TestBurst(t *testing.T) {
	var c Counter
	c.Restart(0)
	for i := range 30 {
		c.Add(time.Duration(i)*200*time.Millisecond, 1)
	}
	if !c.Burst(20, 4*time.Second) || c.Burst(25, 4*time.Second) {
		t.Error("29 drops at 300 a minute: 20 fall within 4 s, 25 do not")
	}
}

// One drop a tenth of a second after the start is no 600 a minute, and none no 0;
// drops that come fast enough are known at once, and so is a change of the weep.
func TestFirstDropAloneIsNoRate(t *testing.T) {
	var c Counter
	c.Restart(0)
	c.Add(100*time.Millisecond, 1)
	if r, ok := c.Known(200*time.Millisecond, 0, 1); ok {
		t.Errorf("known after a single drop: %+v", r)
	}
	if r, ok := c.Known(soon, 0, 1); !ok || math.Abs(r.DPM-20) > 1e-9 {
		t.Errorf("after %s: %+v %v, want 20 a minute", soon, r, ok)
	}
	c.Add(300*time.Millisecond, few-1)
	if _, ok := c.Known(400*time.Millisecond, 0, 1); !ok {
		t.Error("a gush from the start is not known")
	}
	c.Restart(time.Second)
	c.Add(9*time.Second, 1)
	c.Add(10*time.Second, 1)
	if r, ok := c.Known(11*time.Second, 9*time.Second, 1); !ok || math.Abs(r.DPM-30) > 1e-9 {
		t.Errorf("since a change two seconds ago: %+v %v, want 30 a minute", r, ok)
	}
}
