package weep

import (
	"math"
	"time"
)

// recovery is the test for the way back: CUSUM between the limit (still bad)
// and the edge of the band (good again). Between the two nothing is decided,
// which is the deadband.
type recovery struct {
	limit, edge float64 // drops per second
	sum         float64
}

// recoveryThreshold lets one of some 1,000 false returns through (Wald 1947:
// ln((1-beta)/alpha)); an alarm that was cleared wrongly comes again by itself.
const recoveryThreshold = 6.9

func newRecovery(limit, edge float64) recovery { return recovery{limit: limit, edge: edge} }

// good takes n intervals of x seconds and reports whether the weep is back.
// The intervals are taken as a Poisson stream's, the most cautious reading.
func (r *recovery) good(x float64, n int) bool {
	gain := math.Log(r.edge/r.limit) - (r.edge-r.limit)*x
	r.sum = max(0, r.sum+float64(n)*gain)
	if r.sum < recoveryThreshold {
		return false
	}
	r.sum = 0
	return true
}

// silenceNeeded is how long a silence shows that the weep is below
// an upper limit again; never for a lower limit.
func (r *recovery) silenceNeeded() time.Duration {
	if r.edge >= r.limit {
		return never
	}
	return ceil((recoveryThreshold - r.sum) / (r.limit - r.edge))
}
