package weep

import "math"

// pairModel holds the log chance of each bin for each shape and share of odd
// pairs, and the curves of the shapes. It is the same for all glands.
type pairModel struct {
	curves *curveBook

	logChance [shapeSteps][oddWays][pairBins]float64
	most      [shapeSteps][pairBins]float64 // of the ways
}

// oddWays is how many kinds of odd pairs are tried.
const oddWays = len(oddPowers) * len(oddShares)

// oddShares are the shares of pairs with a splash that are tried; oddPowers how
// unlike the two intervals of such a pair are: the slower the drip, the more.
var (
	oddShares = [...]float64{0.005, 0.02, 0.05, 0.10, 0.20, 0.30}
	oddPowers = [...]float64{4, 15, 60}
)

func newPairModel() *pairModel {
	m := &pairModel{curves: newCurveBook()}
	logs := foldedLogs()
	for step := range m.logChance {
		plain := foldedBeta(shapeAt(step), logs)
		for i := range plain {
			m.most[step][i] = math.Inf(-1)
		}
		for p, power := range oddPowers {
			odd := oddChance(power)
			for s, share := range oddShares {
				for i := range plain {
					chance := math.Log((1-share)*plain[i] + share*odd[i])
					m.logChance[step][p*len(oddShares)+s][i] = chance
					m.most[step][i] = max(m.most[step][i], chance)
				}
			}
		}
	}
	return m
}

// oddChance bins pairs that hold a splash: very unlike intervals.
func oddChance(power float64) (chance [pairBins]float64) {
	sum := 0.0
	for i := range chance {
		chance[i] = math.Pow((float64(i)+0.5)/pairBins, power)
		sum += chance[i]
	}
	for i := range chance {
		chance[i] /= sum
	}
	return chance
}

// fineBins is into how many a bin is cut to sum a density over it.
const fineBins = 64

// foldedLogs are ln(1-v^2) in the middle of each fine bin.
func foldedLogs() *[pairBins][fineBins]float64 {
	var logs [pairBins][fineBins]float64
	for i := range logs {
		for j := range logs[i] {
			v := (float64(i) + (float64(j)+0.5)/fineBins) / pairBins
			logs[i][j] = math.Log1p(-v * v)
		}
	}
	return &logs
}

// foldedBeta bins the density of |2u-1|, u ~ Beta(shape, shape), which is
// proportional to (1-v^2)^(shape-1).
func foldedBeta(shape float64, logs *[pairBins][fineBins]float64) (chance [pairBins]float64) {
	sum := 0.0
	for i := range chance {
		for _, l := range logs[i] {
			chance[i] += math.Exp((shape - 1) * l)
		}
		sum += chance[i]
	}
	for i := range chance {
		chance[i] /= sum
	}
	return chance
}

// logLikelihood of the pairs at a shape, with the share of odd pairs that suits
// it best; -Inf where it is surely below least.
func (m *pairModel) logLikelihood(c *binCounts, step int, least float64) float64 {
	if m.atMost(c, step) < least {
		return math.Inf(-1)
	}
	best := math.Inf(-1)
	for way := range &m.logChance[step] {
		sum := 0.0
		for i, chance := range &m.logChance[step][way] {
			sum += float64(c.count[i]) * chance
		}
		best = max(best, sum)
	}
	return best
}

// atMost bounds the log likelihood from above, by the best share for each bin.
func (m *pairModel) atMost(c *binCounts, step int) float64 {
	sum := 1e-6 // more than all rounding
	for i := range c.count {
		sum += float64(c.count[i]) * m.most[step][i]
	}
	return sum
}
