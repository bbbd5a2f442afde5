package rtd

import (
	"math"
	"strings"
	"testing"

	"weepd/rules/reading"
)

// Data sheet p. 20, table 9: Pt100 with a reference resistor of 400 Ω.
func TestDataSheetExamples(t *testing.T) {
	s := Config{RefOhm: 400}.withDefaults().setup()
	for _, e := range []struct {
		celsius, ohm float64
		register     uint16
		code         uint16
	}{
		{275, 203.11, 0x81FE, 16639},
		{300, 212.05, 0x87B6, 17371},
		{400, 247.09, 0x9E24, 20242},
		{550, 297.49, 0xBE64, 24370},
	} {
		r := s.registers(e.register, 0)
		if got := parse(r).code; got != e.code {
			t.Errorf("%04x holds %d, want %d", e.register, got, e.code)
		}
		// The table cuts the code, a step of which is 12.2 mΩ.
		if got := float64(parse(r).code) / fullScale * 400; math.Abs(got-e.ohm) > 0.0125+0.005 {
			t.Errorf("%04x is %.3f Ω, want %.2f", e.register, got, e.ohm)
		}
		f := s.decode(r)
		if f.Quality != reading.Good || math.Abs(f.Value-e.celsius) > 0.04 || f.Cause != "" {
			t.Errorf("%04x is %+v, want %g °C", e.register, f, e.celsius)
		}
	}
}

// registers as the chip would give them after a conversion.
func (s setup) registers(data uint16, status byte) (r [registers]byte) {
	if status != 0 {
		data |= 1
	}
	return [registers]byte{
		s.config | biasOn, byte(data >> 8), byte(data),
		byte(s.high >> 8), byte(s.high), byte(s.low >> 8), byte(s.low), status,
	}
}

func TestFaultsHaveCauses(t *testing.T) {
	s := Config{}.withDefaults().setup()
	const warm = 0x4000 // 107.5 Ω
	with := func(bend func(*[registers]byte)) [registers]byte {
		r := s.registers(warm, 0)
		bend(&r)
		return r
	}
	ones := [registers]byte{255, 255, 255, 255, 255, 255, 255, 255}
	for _, c := range []struct {
		name  string
		regs  [registers]byte
		want  reading.Quality
		cause string
	}{
		{"good", s.registers(warm, 0), reading.Good, ""},
		{"open", s.registers(0xFFFE, faultHigh|faultRefHigh), reading.OpenCircuit, "open: sensor or wire"},
		{"short", s.registers(0x0002, faultLow), reading.ShortCircuit, "short: the sensor's wires"},
		{"force wire", s.registers(warm, faultRefHigh), reading.OpenCircuit, "FORCE"},
		{"to ground", s.registers(warm, faultRTDINLow|faultRefLow), reading.ShortCircuit, "ground"},
		{"overvoltage", s.registers(warm, faultVoltage), reading.Fault, "over- or undervoltage"},
		{"overvoltage and open", s.registers(0xFFFE, faultVoltage|faultHigh), reading.Fault, "over- or undervoltage"},
		{"no cause", s.registers(warm|1, 0), reading.Fault, "without its cause"},
		{"all zeros", [registers]byte{}, reading.NoAnswer, "all zeros"},
		{"all ones", ones, reading.NoAnswer, "all ones"},
		{"power lost", with(func(r *[registers]byte) { *r = [registers]byte{0, 0x40, 0, 0xFF, 0xFF} }), reading.Garbled, "does not keep"},
		{"thresholds lost", with(func(r *[registers]byte) { r[3], r[4] = 0xFF, 0xFF }), reading.Garbled, "does not keep"},
		{"converting yet", with(func(r *[registers]byte) { r[0] |= oneShot }), reading.Garbled, "does not keep"},
		{"open but in range", s.registers(warm, faultHigh), reading.Garbled, "contradict"},
		{"short but in range", s.registers(warm, faultLow), reading.Garbled, "contradict"},
		{"bits that are not there", s.registers(warm, 0x01), reading.Garbled, "contradict"},
		{"above 850 °C", s.registers(0xF000, 0), reading.OutOfRange, "reference resistor"},
		{"below -200 °C", s.registers(0x0400, 0), reading.OutOfRange, "reference resistor"},
	} {
		f := s.decode(c.regs)
		if f.Quality != c.want || !strings.Contains(f.Cause, c.cause) || (f.Cause == "") != (c.want == reading.Good) {
			t.Errorf("%s: %+v, want %s because of %q", c.name, f, c.want, c.cause)
		}
		if !f.Quality.OK() && f.Value != 0 {
			t.Errorf("%s: a bad finding has the value %g", c.name, f.Value)
		}
	}
}

func FuzzDecode(f *testing.F) {
	s := Config{Wires: 2, LeadOhm: 1}.withDefaults().setup()
	good := s.registers(0x4000, 0)
	f.Add(good[:])
	f.Add(make([]byte, registers))
	f.Fuzz(func(t *testing.T, data []byte) {
		var r [registers]byte
		copy(r[:], data)
		echo := s.registers(uint16(r[1])<<8|uint16(r[2]), r[7]) // as a chip that is set up
		for _, r := range [][registers]byte{r, echo} {
			got := s.decode(r)
			if got.Quality.OK() && !(got.Value >= LowestC && got.Value <= HighestC) {
				t.Errorf("% x gives %g °C", r, got.Value)
			}
			if !got.Quality.OK() && got.Cause == "" {
				t.Errorf("% x is %s without a cause", r, got.Quality)
			}
		}
	})
}
