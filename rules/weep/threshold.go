package weep

import "math"

// Side is the edge of the good band that a bank watches.
type Side uint8

// The two sides.
const (
	TooLow Side = iota
	TooHigh
)

const secondsPerYear = 365.25 * 86400

// threshold is the CUSUM threshold at which a level of a bank, at a weep that
// stays on the edge (drops per second), gives alarmsPerYear false alarms.
//
// The mean time between false alarms of Page's test on a likelihood ratio grows
// as exp(threshold): by Wald's identity a cycle of the sum crosses with chance
// E1[exp(-sum at crossing)], so drops between false alarms = exp(threshold) /
// renewalFactor, where the factor (overshoot and cycle length) hardly depends
// on the threshold. Drops that are not quite the model's make it grow as
// exp(growthExponent x threshold). Both come from the calibration, see
// calibrated.go.
func threshold(side Side, level, shapeStep int, edge, alarmsPerYear float64) float64 {
	dropsBetween := secondsPerYear * edge / alarmsPerYear
	return max(1, math.Log(dropsBetween*renewalFactor(side, level, shapeStep))/
		growthExponent(side, level, shapeStep))
}
