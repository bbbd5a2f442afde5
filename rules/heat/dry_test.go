package heat

import (
	"math"
	"testing"
	"time"
)

// Friction of 0.15 at 0.3 MPa on a 50 mm shaft, 50 mm long, 1450 turns a minute:
// 447.2 W at 0.05 (computed from P = mu p pi d L v) makes 1341.6 W at 0.15.
func TestDryTime(t *testing.T) {
	want := 25 * 20 * 460 / 1341.6
	if got := DryTime(25, 0).Seconds(); math.Abs(got-want) > 0.1 {
		t.Errorf("got %g s, want %g", got, want)
	}
	if got, twice := DryTime(25, 1450), DryTime(25, 2900); math.Abs(got.Seconds()-2*twice.Seconds()) > 1e-6 || DryTime(12.5, 2900) != twice/2 {
		t.Errorf("%s, %s", got, twice)
	}
	// Recorded cases: 2 to 3 minutes.
	if got := DryTime(25, 0); got < 2*time.Minute || got > 3*time.Minute {
		t.Errorf("%s is not what recorded glands show", got)
	}
}
