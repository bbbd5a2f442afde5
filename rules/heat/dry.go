package heat

import (
	"math"
	"time"
)

// The gland that DryTime reckons with; its own examples, no source, but for the
// coefficients: about 0.05 with a film and 0.2 without are common practice, no
// source.
const (
	exampleMM       = 50.0 // diameter and length of the packing
	exampleMPa      = 0.3  // radial pressure
	exampleRPM      = 1450.0
	filmFriction    = 0.05
	dryFriction     = 0.2
	exampleKG       = 20.0  // box, follower and shaft that warm along
	ironJoulePerKGK = 460.0 // cast iron and steel, from memory
)

// DryTime is how long a gland that has lost its film takes until its rise has
// grown by riseC, °C: ordinary Coulomb friction at a speed (0 = 1450 turns a
// minute), all of the heat beyond what it had before staying in the metal. With a
// speed of 1450 and 25 °C it is 2 min 51 s, as in the recorded cases, which show
// 2 to 3 minutes. Size cancels out: friction and mass both grow as its cube.
func DryTime(riseC, rpm float64) time.Duration {
	if rpm == 0 {
		rpm = exampleRPM
	}
	watts := FrictionWatts(dryFriction-filmFriction, exampleMPa, exampleMM, exampleMM, rpm)
	seconds := riseC * exampleKG * ironJoulePerKGK / watts
	return time.Duration(math.Min(seconds, 1e6) * float64(time.Second))
}
