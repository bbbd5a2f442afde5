package modbus

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"weepd/rules/reading"
	"weepd/sensors"
)

var (
	drip = reading.Point{Gland: "a", Kind: reading.Drip}
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
	ref  = reading.Point{Gland: "a", Kind: reading.Ref}
	run  = reading.Point{Gland: "a", Kind: reading.Run}
)

func reg(p reading.Point, n Number, bend ...func(*Register)) Register {
	r := Register{Point: p, Unit: 1, Number: n, Scale: 1}
	for _, b := range bend {
		b(&r)
	}
	return r
}

func lowFirst(r *Register) { r.LowWordFirst = true }

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		r     Register
		bytes string
		want  float64
	}{
		{reg(temp, U16), "\xFF\xFE", 65534},
		{reg(temp, I16), "\x00\x64", 100},
		{reg(temp, I16), "\xFF\xFE", -2},
		{reg(temp, U32), "\x00\x01\x00\x02", 65538},
		{reg(temp, U32, lowFirst), "\x00\x02\x00\x01", 65538},
		{reg(temp, I32), "\xFF\xFF\xFF\xFE", -2},
		{reg(temp, I32, lowFirst), "\xFF\xFE\xFF\xFF", -2},
		// IEEE 754: 1 is 3F800000, 41.5 is 42260000.
		{reg(temp, F32), "\x42\x26\x00\x00", 41.5},
		{reg(temp, F32, lowFirst), "\x00\x00\x42\x26", 41.5},
		{reg(temp, I16, func(r *Register) { r.Scale, r.Offset = 0.1, -20 }), "\x00\x64", -10},
	} {
		if f := c.r.decode([]byte(c.bytes)); f.Quality != reading.Good || math.Abs(f.Value-c.want) > 1e-9 || f.Raw == "" {
			t.Errorf("%s %x: %+v, want %g", c.r.Number, c.bytes, f, c.want)
		}
	}
}

func TestBadNumbersHaveCauses(t *testing.T) {
	nan := string(binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(math.NaN()))))
	inf := string(binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(math.Inf(-1)))))
	for _, c := range []struct {
		r     Register
		bytes string
		want  reading.Quality
		cause string
	}{
		{reg(temp, F32), nan, reading.Fault, "NaN"},
		{reg(temp, F32), inf, reading.Fault, "-Inf"},
		{reg(temp, I16, func(r *Register) { r.FaultNumbers = []float64{32767, -32768} }), "\x7F\xFF", reading.Fault, "32767"},
		{reg(temp, I16), "\x80\x00", reading.OutOfRange, "absolute zero"},
		{reg(temp, F32, func(r *Register) { r.Scale = 1e308 }), "\x7F\x00\x00\x00", reading.OutOfRange, "too large"},
		{reg(run, U16), "\x00\x02", reading.OutOfRange, "threshold"},
		{reg(temp, U32), "\x00\x02", reading.Garbled, "2 bytes"},
		{reg(temp, U16), "", reading.Garbled, "0 bytes"},
	} {
		if f := c.r.decode([]byte(c.bytes)); f.Quality != c.want || !strings.Contains(f.Cause, c.cause) || f.Value != 0 {
			t.Errorf("%s %x: %+v, want %s because of %q", c.r.Number, c.bytes, f, c.want, c.cause)
		}
	}
}

func TestRun(t *testing.T) {
	inverted := reg(run, U16, func(r *Register) { r.Inverted = true })
	coil := reg(run, U16, func(r *Register) { r.Table = Coil })
	inverse := reg(run, U16, func(r *Register) { r.Table, r.Inverted = Coil, true })
	amps := reg(run, U16, func(r *Register) { r.Scale, r.Turning = 0.1, &sensors.Turning{Threshold: 5, Hysteresis: 1} })
	for i, got := range []struct{ v, want float64 }{
		{reg(run, U16).decode([]byte{0, 1}).Value, 1}, {reg(run, U16).decode([]byte{0, 0}).Value, 0},
		{inverted.decode([]byte{0, 1}).Value, 0}, {inverted.decode([]byte{0, 0}).Value, 1},
		{coil.decodeBit(true).Value, 1}, {coil.decodeBit(false).Value, 0},
		{inverse.decodeBit(true).Value, 0}, {inverse.decodeBit(false).Value, 1},
		{amps.decode([]byte{0, 50}).Value, 1}, {amps.decode([]byte{0, 45}).Value, 1}, {amps.decode([]byte{0, 39}).Value, 0}, {amps.decode([]byte{0, 45}).Value, 0},
	} {
		if got.v != got.want {
			t.Errorf("case %d: %g, want %g", i, got.v, got.want)
		}
	}
}

func TestWords(t *testing.T) {
	for table := range tables {
		if got, err := ParseTable(table.String()); got != table || err != nil {
			t.Errorf("%s: %v, %v", table, got, err)
		}
	}
	for n := range numbers {
		if got, err := ParseNumber(n.String()); got != n || err != nil {
			t.Errorf("%s: %v, %v", n, got, err)
		}
	}
	if _, err := ParseTable("register"); err == nil {
		t.Error("register is a table")
	}
	if _, err := ParseNumber("u64"); err == nil {
		t.Error("u64 is a number")
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x42, 0x26, 0, 0}, uint8(F32), true, 1.0, 0.0)
	f.Fuzz(func(t *testing.T, b []byte, number uint8, low bool, scale, offset float64) {
		r := Register{Point: temp, Number: Number(number), LowWordFirst: low, Scale: scale, Offset: offset, FaultNumbers: []float64{32767}}
		if r.validate() != nil {
			return
		}
		got := r.decode(b)
		if got.Quality.OK() && (math.IsNaN(got.Value) || math.IsInf(got.Value, 0) || got.Value < absoluteZeroC) {
			t.Errorf("%+v: %x gives %g", r, b, got.Value)
		}
		if !got.Quality.OK() && (got.Cause == "" || got.Value != 0) {
			t.Errorf("%+v: %x is %+v", r, b, got)
		}
	})
}
