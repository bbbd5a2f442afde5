package analog

import (
	"math"
	"strings"
	"testing"

	"weepd/rules/reading"
	"weepd/sensors"
)

var (
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
	ref  = reading.Point{Gland: "a", Kind: reading.Ref}
	run  = reading.Point{Gland: "a", Kind: reading.Run}
)

// NAMUR NE 43: valid from 3.8 to 20.5 mA, failure at 3.6 mA or less and 21 mA or
// more.
func TestNE43(t *testing.T) {
	c := Channel{Point: temp, Low: 0, High: 160}.withDefaults()
	for _, x := range []struct {
		mA      float64
		want    float64
		quality reading.Quality
		cause   string
	}{
		{-1, 0, reading.OpenCircuit, "no current"},
		{0, 0, reading.OpenCircuit, "no current"},
		{0.4, 0, reading.OpenCircuit, "no current"},
		{0.5, 0, reading.Fault, "reports a failure"},
		{3.6, 0, reading.Fault, "3.6 mA or less"},
		{3.61, -2, reading.Good, "saturated"},
		{3.79, -2, reading.Good, "held at 3.8"},
		{3.8, -2, reading.Good, ""},
		{4, 0, reading.Good, ""},
		{12, 80, reading.Good, ""},
		{20, 160, reading.Good, ""},
		{20.5, 165, reading.Good, ""},
		{20.51, 165, reading.Good, "held at 20.5"},
		{20.99, 165, reading.Good, "saturated"},
		{21, 0, reading.Fault, "21 mA or more"},
		{24, 0, reading.Fault, "shorted"},
	} {
		f := c.current(x.mA)
		if f.Quality != x.quality || math.Abs(f.Value-x.want) > 1e-9 || !strings.Contains(f.Cause, x.cause) || (x.cause == "") != (f.Cause == "") {
			t.Errorf("%g mA: %+v, want %g %s because of %q", x.mA, f, x.want, x.quality, x.cause)
		}
	}
}

func TestVoltage(t *testing.T) {
	c := Channel{Point: temp, Signal: Voltage, Low: -50, High: 150}.withDefaults()
	for v, want := range map[float64]string{-0.3: "fault", -0.1: "good", 0: "good", 5: "good", 10.4: "good", 10.6: "out-of-range"} {
		if f := c.voltage(v); f.Quality.String() != want || f.Quality.OK() && math.Abs(f.Value-(-50+20*v)) > 1e-9 {
			t.Errorf("%g V: %+v, want %s", v, f, want)
		}
	}
}

// Steps of the converter: with 100 Ω, 22 mA need the range of 4.096 V, so 12 mA
// are 1.2 V or 9600 steps; 10 V over 3 are 3.333 V or 26667 (SBAS444, config
// register, PGA: ±4.096 V; two's complement of 16 bits).
func TestCodes(t *testing.T) {
	current := Channel{Point: temp, Low: 0, High: 160}.withDefaults()
	voltage := Channel{Point: temp, Signal: Voltage, Low: 0, High: 100}.withDefaults()
	if f := current.decode(9600); math.Abs(f.Value-80) > 1e-9 || f.Raw != "12.000 mA" {
		t.Errorf("12 mA: %+v", f)
	}
	if f := voltage.decode(26667); math.Abs(f.Value-100) > 0.01 {
		t.Errorf("10 V: %+v", f)
	}
	for _, code := range []int16{math.MaxInt16, math.MinInt16} {
		if f := current.decode(code); f.Quality != reading.OutOfRange || f.Value != 0 {
			t.Errorf("%d: %+v", code, f)
		}
	}
	for volt, want := range map[float64]float64{0.1: 0.256, 0.3: 0.512, 1: 1.024, 2: 2.048, 2.2: 4.096, 5: 6.144} {
		if got := narrowest(volt).volt; got != want {
			t.Errorf("%g V in ±%g V, want ±%g", volt, got, want)
		}
	}
}

func TestAbsoluteZeroAndTurning(t *testing.T) {
	c := Channel{Point: temp, Low: -1000, High: 0}.withDefaults()
	if f := c.judge(c.current(4)); f.Quality != reading.OutOfRange || f.Value != 0 {
		t.Errorf("-1000 °C: %+v", f)
	}
	r := Channel{Point: run, Low: 0, High: 100, Turning: &sensors.Turning{Threshold: 10, Hysteresis: 4}}.withDefaults()
	var got []float64
	for _, mA := range []float64{4, 5.4, 5.7, 5, 4.9, 12, 0} {
		f := r.judge(r.current(mA))
		if f.Quality.OK() {
			got = append(got, f.Value)
		} else {
			got = append(got, -1)
		}
	}
	want := []float64{0, 0, 1, 1, 0, 1, -1}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("turning: %v, want %v", got, want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(int16(9600), 100.0, 3.0, 0.0, 160.0, false)
	f.Fuzz(func(t *testing.T, code int16, shunt, divider, low, high float64, voltage bool) {
		c := Channel{Point: temp, ShuntOhm: shunt, Divider: divider, Low: low, High: high}
		if voltage {
			c.Signal = Voltage
		}
		if c = c.withDefaults(); c.validate() != nil {
			return
		}
		got := c.judge(c.decode(code))
		span := math.Abs(high - low)
		if got.Quality.OK() && span < 1e300 && math.Abs(low) < 1e300 {
			if lowest, highest := min(low, high)-0.05*span, max(high, low)+0.06*span; !(got.Value >= lowest && got.Value <= highest) {
				t.Errorf("%+v: code %d gives %g", c, code, got.Value)
			}
		}
		if !got.Quality.OK() && (got.Cause == "" || got.Value != 0) {
			t.Errorf("%+v: code %d is %+v", c, code, got)
		}
	})
}

// One step of the converter is the resolution: SBAS444, 16 bits over the range of
// the amplifier; 100 Ω make 0.4 to 2 V of 4 to 20 mA, so the range of 4.096 V and a
// step of 0.125 mV, of which 1.6 V hold 12800.
func TestResolutionIsOneStep(t *testing.T) {
	c := Channel{Low: 0, High: 128}
	if got := c.Resolution(); math.Abs(got-0.01) > 1e-12 {
		t.Errorf("got %g, want 0.01", got)
	}
	v := Channel{Signal: Voltage, Low: 100, High: 0} // 10 V / 3 in the range of 4.096 V
	step := 0.000125 * 3 * 10
	if got := v.Resolution(); math.Abs(got-step) > 1e-12 {
		t.Errorf("got %g, want %g", got, step)
	}
}
