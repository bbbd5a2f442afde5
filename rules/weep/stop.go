package weep

import "time"

// StopDelay is how long after its last drop a weep that stops at once is known to
// be too low, for a gland at the lower edge of its band whose drops come at random
// (shape 1), as every gland is taken to be until it has been learned. It follows
// from the thresholds alone, see bank.
func StopDelay(dryDPM, falseAlarmsPerYear float64) time.Duration {
	book := newCurveBook()
	b := newBank(TooLow, dryDPM*Margin/60, bankLevels)
	b.setShape(unlearnedStep, book, falseAlarmsPerYear)
	var quiet silences
	quiet.setShape(b.edge, book.at(unlearnedStep))
	delay, _ := quiet.firstCrossing(&b)
	return delay
}
