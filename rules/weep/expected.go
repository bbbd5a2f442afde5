package weep

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mathext"
)

// Expected is what the detector's theory says of one limit: how long after a
// change of the weep its alarm is to be expected. By Wald's identity a sum of
// evidence reaches its threshold after about threshold / drift, so the delay is
// the least of that over the levels of the bank, each with its own share of the
// false-alarm budget. It is first order: what a sum holds at the change and by how
// much it overshoots are left out. Against the detector itself it is good to about
// a quarter for changes well beyond the limit (TestExpectedAgainstTheDetector); for
// one just beyond it, where the drift is small, it says up to twice too much.
type Expected struct {
	bank  bank
	shape float64
	quiet silences
	units []float64 // quantiles of a gamma variable of that shape and mean 1
}

// quantiles is how finely the mean gain is summed.
const quantiles = 256

// NewExpected makes the theory of a limit, drops per minute, for drops of a
// regularity (see Detector.Shape).
func NewExpected(side Side, limitDPM, falseAlarmsPerYear, shape float64) *Expected {
	edge := limitDPM * Margin / 60
	if side == TooHigh {
		edge = limitDPM / Margin / 60
	}
	step := min(shapeSteps-1, max(0, unlearnedStep+int(math.Round(math.Log(shape)/math.Log(shapeRatio)))))
	e := &Expected{bank: newBank(side, edge, bankLevels), shape: shapeAt(step)}
	book := newCurveBook()
	e.bank.setShape(step, book, falseAlarmsPerYear)
	e.quiet.setShape(edge, book.at(step))
	for i := range quantiles {
		e.units = append(e.units, mathext.GammaIncRegInv(e.shape, (float64(i)+0.5)/quantiles)/e.shape)
	}
	return e
}

// Delay is the time from a sudden change to its alarm, for a weep of so many drops
// per minute from then on; ok is false where the evidence does not grow, so that
// no alarm is to be expected.
func (e *Expected) Delay(toDPM float64) (delay time.Duration, ok bool) {
	rate := toDPM / 60
	if rate <= 0 {
		if e.bank.side == TooHigh {
			return 0, false
		}
		delay, _ = e.quiet.firstCrossing(&e.bank)
		return delay, true
	}
	least := math.Inf(1)
	for i := range e.bank.levels {
		c := &e.bank.levels[i]
		gain := 0.0
		for _, unit := range e.units {
			gain += e.bank.gains.at(i, locate(unit/rate*e.bank.edge))
		}
		if drift := gain / quantiles * rate; drift > 0 {
			least = min(least, c.threshold/drift)
		}
	}
	return ceil(least), !math.IsInf(least, 1)
}
