package analog

import (
	"fmt"
	"math"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Signal is what a transmitter sends.
type Signal uint8

// The signals.
const (
	Current Signal = iota // 4 to 20 mA
	Voltage               // 0 to 10 V
)

// Limits of NAMUR NE 43, mA (from memory; see the package's documentation).
const (
	failLowMA   = 3.6
	validLowMA  = 3.8
	validHighMA = 20.5
	failHighMA  = 21.0

	zeroMA, fullMA = 4.0, 20.0
	brokenMA       = 0.4  // common practice, no source: nothing feeds the loop
	mostMA         = 22.0 // what the converter's range must hold
)

// Limits of 0 to 10 V; common practice, no source.
const (
	fullV     = 10.0
	failLowV  = -0.2
	failHighV = 10.5
	mostV     = 11.0
)

// Channel is one input of the chip and the point it stands for.
type Channel struct {
	Point  reading.Point // temp, ref or run
	Input  Input
	Signal Signal

	ShuntOhm float64 // of Current; 0 means 100
	Divider  float64 // of Voltage: how many times the input's voltage the signal is; 0 means 3

	Low, High float64 // the value at 4 and 20 mA, or 0 and 10 V

	// Turning makes 1 or 0 of the value, for a run point.
	Turning *sensors.Turning
}

func (c Channel) withDefaults() Channel {
	if c.ShuntOhm == 0 {
		c.ShuntOhm = 100
	}
	if c.Divider == 0 {
		c.Divider = 3
	}
	return c
}

// mostInputVolt is what a 5 V chip can take.
const mostInputVolt = 5.0

func (c Channel) validate() error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	run := c.Point.Kind == reading.Run
	switch {
	case !reading.ValidGlandID(c.Point.Gland) || c.Point.Kind != reading.Temp && c.Point.Kind != reading.Ref && !run:
		return fmt.Errorf("point %s; want temp, ref or run of a gland", c.Point)
	case c.Input >= numInputs:
		return fmt.Errorf("%s of %s; want one that ParseInput gives", c.Input, c.Point)
	case c.Signal > Voltage:
		return fmt.Errorf("signal %d of %s; want 4 to 20 mA or 0 to 10 V", c.Signal, c.Point)
	case !(c.ShuntOhm > 0) || !(c.Divider >= 1) || !(c.mostVolt() > 0.01 && c.mostVolt() <= mostInputVolt):
		return fmt.Errorf("shunt %g Ω, divider %g of %s put %.3g V on the input; want more than 0.01 and at most %g", c.ShuntOhm, c.Divider, c.Point, c.mostVolt(), mostInputVolt)
	case !finite(c.Low) || !finite(c.High) || c.Low == c.High:
		return fmt.Errorf("low %g, high %g of %s; want two different numbers", c.Low, c.High, c.Point)
	case run != (c.Turning != nil):
		return fmt.Errorf("point %s: a run point, and no other, needs a threshold", c.Point)
	case run:
		return c.Turning.Validate()
	}
	return nil
}

// mostVolt is what the signal puts on the input at its most.
func (c Channel) mostVolt() float64 {
	if c.Signal == Voltage {
		return mostV / c.Divider
	}
	return mostMA / 1000 * c.ShuntOhm
}

// decode makes a value of the converter's result.
func (c Channel) decode(code int16) sensors.Finding {
	volt := float64(code) / 32768 * narrowest(c.mostVolt()).volt
	f := c.scale(volt)
	if code == math.MaxInt16 || code == math.MinInt16 {
		f = bad(reading.OutOfRange, f.Raw, "the converter is at the end of its range: signal too high, or wrong shunt or divider")
	}
	return f
}

func (c Channel) scale(volt float64) sensors.Finding {
	if c.Signal == Voltage {
		return c.voltage(volt * c.Divider)
	}
	return c.current(volt / c.ShuntOhm * 1000)
}

func (c Channel) current(mA float64) sensors.Finding {
	raw := fmt.Sprintf("%.3f mA", mA)
	switch {
	case mA <= brokenMA:
		return bad(reading.OpenCircuit, raw, "no current: wire broken, or the transmitter has no supply")
	case mA <= failLowMA:
		return bad(reading.Fault, raw, "3.6 mA or less: the transmitter reports a failure")
	case mA >= failHighMA:
		return bad(reading.Fault, raw, "21 mA or more: the transmitter reports a failure, or the loop is shorted")
	}
	held := min(max(mA, validLowMA), validHighMA)
	f := sensors.Finding{Value: c.Low + (held-zeroMA)/(fullMA-zeroMA)*(c.High-c.Low), Raw: raw}
	if held != mA {
		f.Cause = fmt.Sprintf("saturated: the transmitter is at the end of its range, held at %g mA", held)
	}
	return f
}

func (c Channel) voltage(v float64) sensors.Finding {
	raw := fmt.Sprintf("%.3f V", v)
	switch {
	case v < failLowV:
		return bad(reading.Fault, raw, "negative: are the wires swapped?")
	case v > failHighV:
		return bad(reading.OutOfRange, raw, "above 10.5 V: is it a signal of 0 to 10 V?")
	}
	return sensors.Finding{Value: c.Low + v/fullV*(c.High-c.Low), Raw: raw}
}

const absoluteZeroC = -273.15

// judge fits the value to the point's kind.
func (c Channel) judge(f sensors.Finding) sensors.Finding {
	switch {
	case !f.Quality.OK():
	case c.Point.Kind == reading.Run:
		f.Value = c.Turning.Take(f.Value)
	case f.Value < absoluteZeroC:
		return bad(reading.OutOfRange, f.Raw, "below absolute zero: check low and high")
	}
	return f
}

func bad(q reading.Quality, raw, cause string) sensors.Finding {
	return sensors.Finding{Quality: q, Raw: raw, Cause: cause}
}

// Resolution is the value of one step of the converter, in the unit of the
// point.
func (c Channel) Resolution() float64 {
	c = c.withDefaults()
	span := (fullMA - zeroMA) / 1000 * c.ShuntOhm
	if c.Signal == Voltage {
		span = fullV / c.Divider
	}
	return math.Abs(c.High-c.Low) / span * narrowest(c.mostVolt()).volt / 32768
}
