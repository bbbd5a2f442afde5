package thermocouple

import (
	"strings"
	"testing"

	"weepd/rules/reading"
)

// registers as a chip that is set up gives them.
func (c Config) registers(hot [3]byte, cold [2]byte, status byte) (a answer) {
	want := c.wanted()
	copy(a[:], want[:])
	copy(a[regCJTH:], cold[:])
	copy(a[regLTCB:], hot[:])
	a[regSR] = status
	return a
}

// Examples of the data sheet's tables of both formats, from memory.
func TestFormats(t *testing.T) {
	for want, b := range map[float64][3]byte{
		1600: {0x64, 0, 0}, 1000: {0x3E, 0x80, 0}, 100.9375: {0x06, 0x4F, 0}, 25: {0x01, 0x90, 0},
		0.0625: {0, 1, 0}, 0.0078125: {0, 0, 0x20}, 0: {0, 0, 0}, -0.0625: {0xFF, 0xFF, 0}, -1: {0xFF, 0xF0, 0}, -250: {0xF0, 0x60, 0},
	} {
		if got := (Config{}).registers(b, [2]byte{}, 0).celsius(); got != want {
			t.Errorf("% x is %g °C, want %g", b, got, want)
		}
	}
	for want, b := range map[float64][2]byte{
		127: {0x7F, 0}, 125: {0x7D, 0}, 25: {0x19, 0}, 0.5: {0, 0x80}, 0.015625: {0, 4}, 0: {0, 0}, -0.5: {0xFF, 0x80}, -25: {0xE7, 0}, -55: {0xC9, 0},
	} {
		if got := (Config{}).registers([3]byte{}, b, 0).coldCelsius(); got != want {
			t.Errorf("% x is %g °C, want %g", b, got, want)
		}
	}
}

func TestFaultsHaveCauses(t *testing.T) {
	c := Config{}.withDefaults()
	warm, room := [3]byte{0x06, 0x4F, 0}, [2]byte{0x19, 0}
	with := func(status byte) answer { return c.registers(warm, room, status) }
	ones := answer{}
	for i := range ones {
		ones[i] = 0xFF
	}
	for _, x := range []struct {
		name      string
		a         answer
		hot, cold reading.Quality
		cause     string
	}{
		{"good", with(0), reading.Good, reading.Good, ""},
		{"open", with(faultOpen), reading.OpenCircuit, reading.Good, "open:"},
		{"open, out of range too", with(faultOpen | 0x40), reading.OpenCircuit, reading.Good, "open:"},
		{"overvoltage", with(faultOVUV), reading.Fault, reading.Fault, "over- or undervoltage"},
		{"overvoltage before any conversion", c.registers([3]byte{}, [2]byte{}, faultOVUV|faultOpen), reading.Fault, reading.Fault, "over- or undervoltage"},
		{"type's range", with(0x40), reading.OutOfRange, reading.Good, "type K"},
		{"too hot", c.registers([3]byte{0x64, 0, 0}, room, 0), reading.OutOfRange, reading.Good, "type K"},
		{"too cold", c.registers([3]byte{0xF0, 0x60, 0}, room, 0), reading.OutOfRange, reading.Good, "swapped"},
		{"cold junction's range", with(0x80), reading.OutOfRange, reading.OutOfRange, "converter itself"},
		{"cold junction", c.registers(warm, [2]byte{0x7F, 0}, 0), reading.Good, reading.OutOfRange, ""},
		{"no conversion", c.registers([3]byte{}, [2]byte{}, 0), reading.NoAnswer, reading.NoAnswer, "does not convert"},
		{"absent, low", answer{}, reading.NoAnswer, reading.NoAnswer, "all zeros"},
		{"absent, high", ones, reading.NoAnswer, reading.NoAnswer, "all ones"},
		{"after power-on", answer{1: 0x03, 2: 0xFF, 3: 0x7F, 4: 0xC0, 5: 0x7F, 6: 0xFF, 7: 0x80}, reading.Garbled, reading.Garbled, "does not keep"},
		{"another type", Config{Type: J, MainsHz: 50}.registers(warm, room, 0), reading.Garbled, reading.Garbled, "does not keep"},
	} {
		hot, cold := c.decode(x.a)
		if hot.Quality != x.hot || cold.Quality != x.cold || !strings.Contains(hot.Cause, x.cause) {
			t.Errorf("%s: hot %+v, cold %+v; want %s because of %q, and %s", x.name, hot, cold, x.hot, x.cause, x.cold)
		}
		if hot.Quality == reading.Good && hot.Value != 100.9375 || !hot.Quality.OK() && (hot.Value != 0 || hot.Cause == "") {
			t.Errorf("%s: hot %+v", x.name, hot)
		}
	}
}

func FuzzDecode(f *testing.F) {
	c := Config{}.withDefaults()
	good := c.registers([3]byte{0x06, 0x4F, 0}, [2]byte{0x19, 0}, 0)
	f.Add(good[:])
	f.Add(make([]byte, registers))
	f.Fuzz(func(t *testing.T, data []byte) {
		var a answer
		copy(a[:], data)
		echo := c.registers([3]byte(a[regLTCB:]), [2]byte(a[regCJTH:]), a[regSR])
		for _, a := range []answer{a, echo} {
			hot, cold := c.decode(a)
			if hot.Quality.OK() && !(hot.Value >= -200 && hot.Value <= 1372) || cold.Quality.OK() && !(cold.Value >= -55 && cold.Value <= 125) {
				t.Errorf("% x gives %g and %g °C", a, hot.Value, cold.Value)
			}
			if !hot.Quality.OK() && hot.Cause == "" || !cold.Quality.OK() && cold.Cause == "" {
				t.Errorf("% x is %s, %s without a cause", a, hot.Quality, cold.Quality)
			}
		}
	})
}
