package weep

import "math"

// curves are the model of one shape at the nodes of a table, but for splash: what
// banks of that shape have in common, whatever their edge. A gland whose shape goes
// to and fro needs them often, and they are dear.
type curves struct {
	density      [2][bankLevels][tableNodes]float64 // log ratio of the unit density to that at the edge
	edgeDensity  [tableNodes]float64                // log, times the mean at the edge
	survival     [bankLevels][tableNodes]float64    // log, of the levels too low
	edgeSurvival [tableNodes]float64
}

func newCurves(step int) *curves {
	c := &curves{}
	shape := shapeAt(step)
	for node := range tableNodes {
		y := nodeAt(node)
		c.edgeDensity[node], c.edgeSurvival[node] = logUnitDensity(y, shape), logUnitSurvival(y, shape)
		for level := range bankLevels {
			for side, ratios := range levelRatios {
				ratio := ratios[level]
				c.density[side][level][node] = math.Log(ratio) + logUnitDensity(ratio*y, shape)
			}
			c.survival[level][node] = logUnitSurvival(levelRatios[TooLow][level]*y, shape)
		}
	}
	return c
}

// curveBook holds the curves that were needed so far.
type curveBook [shapeSteps]*curves

func (b *curveBook) at(step int) *curves {
	if b[step] == nil {
		b[step] = newCurves(step)
	}
	return b[step]
}

// gain is the table of a level beyond an edge, drops per second: the log likelihood
// ratio of an interval.
func (c *curves) gain(side Side, level int, edge float64) (t table) {
	for node := range t {
		at, base := c.density[side][level][node], c.edgeDensity[node]
		if splash := logSplash(nodeAt(node)/edge) - math.Log(edge); splash > math.Inf(-1) {
			at, base = logAdd(splash, at), logAdd(splash, base)
		}
		t[node] = float32(at - base)
	}
	return t
}

// silence is the table of a low level: the log ratio of the two chances that an
// interval is that long.
func (c *curves) silence(level int, edge float64) (t table) {
	for node := range t {
		at, base := c.survival[level][node], c.edgeSurvival[node]
		if splash := logSplashLater(nodeAt(node) / edge); splash > math.Inf(-1) {
			at, base = logAdd(splash, at), logAdd(splash, base)
		}
		t[node] = float32(at - base)
	}
	return t
}
