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

// curveBook holds what was needed so far: the curves of shapes, and the gains of
// banks, which glands of the same limits share.
type curveBook struct {
	of    [shapeSteps]*curves
	gains map[gainsKey]*gains
}

type gainsKey struct {
	side   Side
	step   int8
	levels int8
	edge   float64
}

// mostGains bounds the memory; those in use stay with who uses them.
const mostGains = 128

func newCurveBook() *curveBook { return &curveBook{gains: make(map[gainsKey]*gains)} }

func (b *curveBook) at(step int) *curves {
	if b.of[step] == nil {
		b.of[step] = newCurves(step)
	}
	return b.of[step]
}

func (b *curveBook) gainsOf(side Side, step, levels int, edge float64) *gains {
	key := gainsKey{side, int8(step), int8(levels), edge}
	if known := b.gains[key]; known != nil {
		return known
	}
	if len(b.gains) >= mostGains {
		clear(b.gains)
	}
	var tables [bankLevels]table
	for i := range levels {
		tables[i] = b.at(step).gain(side, i, edge)
	}
	b.gains[key] = newGains(tables)
	return b.gains[key]
}

// gains are the log likelihood ratios of an interval at the levels of a bank.
type gains struct {
	tables [bankLevels]table
	lines  [tableNodes - 1][bankLevels]line
}

// line is a table between two nodes.
type line struct{ base, slope float64 }

func newGains(tables [bankLevels]table) *gains {
	g := &gains{tables: tables}
	for node := range g.lines {
		for i := range tables {
			from, to := float64(tables[i][node]), float64(tables[i][node+1])
			g.lines[node][i] = line{from, to - from}
		}
	}
	return g
}

// at is what table.at gives of a level.
func (g *gains) at(level int, p place) float64 {
	l := &g.lines[p.node][level]
	return l.base + l.slope*p.fraction
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
