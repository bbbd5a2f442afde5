package weep

import (
	"flag"
	"fmt"
	"go/format"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

var rewrite = flag.Bool("rewrite", false, "recompute calibrated.go (minutes)")

// modelInterval draws one interval of the model.
func modelInterval(rng *rand.Rand, shape, rate float64) float64 {
	if rng.Float64() < splashShare {
		return rng.Float64() * splashWithin
	}
	intervals := 1.0
	for intervals <= mostMissed && rng.Float64() < missedShare {
		intervals++
	}
	return distuv.Gamma{Alpha: intervals * shape, Beta: shape * rate, Src: rng}.Rand()
}

// renewal estimates exp(threshold)/(drops between false alarms) of one level by
// importance sampling: cycles of the sum are drawn at the alternative, where
// crossing is common, and weighted by the exact likelihood ratio (Siegmund 1976).
func renewal(side Side, level, step int, edge, h float64, cycles int, rng *rand.Rand) float64 {
	ratio := levelRatios[side][level]
	b := newBank(side, edge, bankLevels)
	var quiet silences
	shape := shapeAt(step)
	b.setShape(step, newCurveBook(), 1)
	quiet.setShape(edge, newCurves(step))
	gain := &b.gains.tables[level]
	rate := edge * ratio

	weight := 0.0
	for range cycles {
		sum, exact := 0.0, 0.0
		for {
			x := modelInterval(rng, shape, rate)
			if side == TooLow {
				if y, ok := quiet[level].crossing(h - sum); ok && x*edge >= y {
					t := y / edge
					weight += math.Exp(h - exact - logSurvival(t, shape, rate) + logSurvival(t, shape, edge))
					break
				}
			}
			sum += gain.at(locate(x * edge))
			exact += logDensity(x, shape, rate) - logDensity(x, shape, edge)
			if sum <= 0 {
				break
			}
			if sum >= h {
				weight += math.Exp(h - exact)
				break
			}
		}
	}
	// Mean drops in a cycle, at the edge.
	drops := 0
	const plain = 4000
	for range plain {
		for sum := 0.0; ; {
			drops++
			sum += gain.at(locate(modelInterval(rng, shape, edge) * edge))
			if sum <= 0 {
				break
			}
		}
	}
	return weight / float64(cycles) / (float64(drops) / plain)
}

// truth is what a sensor may make of the drops, other than the model.
type truth struct{ splash, missed float64 }

// truths are what the thresholds must stand.
var truths = []truth{{0, 0}, {0.02, 0.02}, {0, 0.02}, {0.02, 0}}

// growth is the exponent at which the mean time between false alarms grows with
// the threshold under a truth that is not the model's: the root s of
// E[exp(s x gain)] = 1 over a cycle from one counted drop to the next, by
// quadrature (Lundberg's equation, Wald 1947).
func growth(side Side, level, step int, edge float64, tr truth) float64 {
	b := newBank(side, edge, bankLevels)
	b.setShape(step, newCurveBook(), 1)
	gain := func(x float64) float64 { return b.gains.at(level, locate(x*edge)) }
	shape := shapeAt(step)
	moment := func(s float64) float64 {
		total := 0.0
		share := 1 - tr.missed
		for misses := range 4 {
			k := shape * float64(misses+1)
			total += share * quadrature(k, shape*edge, func(x float64) float64 {
				plain := math.Exp(s * gain(x))
				if tr.splash == 0 {
					return plain
				}
				split := 0.0
				for i := range 6 {
					u := 0.04 + 0.11*(float64(i)+0.5)/6
					if u < x {
						split += math.Exp(s*(gain(u)+gain(x-u))) / 6
					} else {
						split += plain / 6
					}
				}
				return (1-tr.splash)*plain + tr.splash*split
			})
			share *= tr.missed
		}
		return total
	}
	lo, hi := 0.2, 2.0
	for hi-lo > 1e-4 {
		mid := (lo + hi) / 2
		if moment(mid) > 1 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}

// quadrature integrates f over a gamma density of a shape and rate.
func quadrature(shape, rate float64, f func(x float64) float64) float64 {
	const steps = 1500
	lo, hi := math.Log(1e-4*shape/rate), math.Log(40*shape/rate+40/rate)
	width := (hi - lo) / steps
	sum, mass := 0.0, 0.0
	for i := range steps {
		x := math.Exp(lo + (float64(i)+0.5)*width)
		w := math.Exp(logGamma(x, shape, rate)) * x * width
		sum += w * f(x)
		mass += w
	}
	return sum / mass
}

// The calibration in use must be what the code gives: a sample is recomputed.
func TestCalibrationIsCurrent(t *testing.T) {
	for _, side := range []Side{TooLow, TooHigh} {
		for level := range bankLevels {
			for _, step := range []int{unlearnedStep, 22, 33} {
				rng := rand.New(rand.NewPCG(uint64(step), uint64(level)))
				worst := 0.0
				for _, edgeDPM := range []float64{15, 60} {
					worst = max(worst, renewal(side, level, step, edgeDPM/60, 14, 1500, rng))
				}
				if in := renewalFactor(side, level, step); math.Abs(math.Log(worst/in)) > 0.25 {
					t.Errorf("side %d level %d shape %.2f: factor %.3g in use, %.3g found; run with -rewrite", side, level, shapeAt(step), in, worst)
				}
			}
		}
	}
}

func TestCalibrate(t *testing.T) {
	if !*rewrite {
		return
	}
	type key struct{ side, level, step int }
	factors, exponents := map[key]float64{}, map[key]float64{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	sem := make(chan struct{}, 2)
	for side := range 2 {
		for level := range bankLevels {
			for step := range shapeSteps {
				wg.Go(func() {
					sem <- struct{}{}
					defer func() { <-sem }()
					worst, slowest := 0.0, 1.1
					for _, edgeDPM := range []float64{15, 60} {
						rng := rand.New(rand.NewPCG(uint64(side*1000+level*100+step), uint64(edgeDPM)))
						worst = max(worst, renewal(Side(side), level, step, edgeDPM/60, 14, 4000, rng))
					}
					for _, edgeDPM := range []float64{10, 39, 90} {
						for _, tr := range truths {
							slowest = min(slowest, growth(Side(side), level, step, edgeDPM/60, tr))
						}
					}
					mu.Lock()
					factors[key{side, level, step}] = worst
					exponents[key{side, level, step}] = slowest
					mu.Unlock()
				})
			}
		}
	}
	wg.Wait()
	var s strings.Builder
	s.WriteString(calibratedHead)
	write := func(values map[key]float64) {
		for side := range 2 {
			s.WriteString("\t{\n")
			for level := range bankLevels {
				s.WriteString("\t\t{")
				for step := range shapeSteps {
					fmt.Fprintf(&s, "%.3g, ", values[key{side, level, step}])
				}
				s.WriteString("},\n")
			}
			s.WriteString("\t},\n")
		}
		s.WriteString("}\n")
	}
	write(factors)
	s.WriteString(calibratedMiddle)
	write(exponents)
	text, err := format.Source([]byte(s.String()))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("calibrated.go", text, 0o644); err != nil {
		t.Fatal(err)
	}
}

const calibratedHead = `package weep

// Made by: go test ./rules/weep -run TestCalibrate -rewrite

// renewalFactor is exp(threshold) x the rate of false alarms in drops, of one
// level of a bank at the edge of the band; see threshold. It was found by
// importance sampling of the very tables that the detector uses, and is the
// larger of those at edges of 15 and 60 drops per minute.
func renewalFactor(side Side, level, shapeStep int) float64 {
	return renewalFactors[side][level][shapeStep]
}

// By side, level and shape step.
var renewalFactors = [2][bankLevels][shapeSteps]float64{
`

const calibratedMiddle = `
// growthExponent is how the mean time between false alarms really grows with
// the threshold: as exp(exponent x threshold), the least found (by quadrature)
// for clean drops, 2 % splash, 2 % missed and both, at edges of 10, 39 and 90
// drops per minute, and at most 1.1.
func growthExponent(side Side, level, shapeStep int) float64 {
	return growthExponents[side][level][shapeStep]
}

// By side, level and shape step.
var growthExponents = [2][bankLevels][shapeSteps]float64{
`
