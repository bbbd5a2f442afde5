// Package sensors holds the contract between a source of readings and the
// agent. One folder below it is one source; they never import each other.
package sensors

import (
	"context"
	"time"

	"weepd/rules/reading"
)

// Clock gives the station's steady time: see reading.Reading.At. It never
// steps and may be called from any goroutine.
type Clock func() time.Duration

// Source yields the readings of one or more points.
//
// Every source keeps this contract, which sensortest.Conform checks:
//
//   - Points names every point it will ever emit, at least one, without
//     duplicates, and answers the same before, during and after Run.
//   - Run emits from one goroutine at a time, only for its own points, with At
//     never going back, until ctx ends (it then returns nil within a second)
//     or nothing more will come (nil: a recording's end). It may be called
//     once. After it returns nothing is emitted and no goroutine is left.
//   - A sensor that cannot be read is a reading with a bad Quality, repeated
//     while it lasts; Run goes on and the sensor's return shows by itself.
//     Run returns an error only for what cannot heal, and it says which
//     device, what was expected and what to do.
//   - A drop source emits a Drip reading of 0 at least every WatchEvery while
//     it is really watching and nothing falls: silence must be told from
//     absence.
//   - String names the device for logs, e.g. `gpio GPIO17`.
//
// Who can keep readings with their own times until they are asked for is a Patient
// as well.
type Source interface {
	Points() []reading.Point
	Run(ctx context.Context, emit func(reading.Reading)) error
	String() string
}

// WatchEvery is the longest that a live drop source stays silent while it is
// watching. It is a sixth of the 60 s after which a recording counts as gap.
const WatchEvery = 10 * time.Second
