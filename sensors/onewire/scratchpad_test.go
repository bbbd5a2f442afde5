package onewire

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"periph.io/x/conn/v3/onewire"

	"weepd/rules/reading"
)

var someMark = [3]byte{0xB4, 0xB9, twelveBits}

// pad makes a scratchpad as the sensor gives it after a conversion.
func pad(raw uint16, mark [3]byte, byte6 byte) (s scratchpad) {
	binary.LittleEndian.PutUint16(s[:], raw)
	copy(s[2:], mark[:])
	s[5], s[6], s[7] = 0xFF, byte6, 0x10
	s[8] = onewire.CalcCRC(s[:8])
	return s
}

// The data sheet's table of temperature and data, from memory; the arithmetic
// was computed elsewhere.
func TestDataSheetTable(t *testing.T) {
	for raw, want := range map[uint16]float64{
		0x07D0: 125, 0x0550: 85, 0x0191: 25.0625, 0x00A2: 10.125, 0x0008: 0.5, 0x0000: 0,
		0xFFF8: -0.5, 0xFF5E: -10.125, 0xFE6F: -25.0625, 0xFC90: -55,
	} {
		f := decode(pad(raw, someMark, 0x10), someMark, math.NaN())
		if f.Quality != reading.Good || f.Value != want || f.Cause != "" {
			t.Errorf("%04x: %+v, want %g °C", raw, f, want)
		}
	}
}

func TestFaultsHaveCauses(t *testing.T) {
	ones := scratchpad{}
	for i := range ones {
		ones[i] = 0xFF
	}
	flipped := pad(0x0191, someMark, 0x10)
	flipped[1] ^= 1
	other := pad(0x0191, [3]byte{1, 2, 0x80}, 0x10) // e.g. another family's memory
	for _, c := range []struct {
		name  string
		s     scratchpad
		last  float64
		want  reading.Quality
		cause string
	}{
		{"all zeros", scratchpad{}, 20, reading.ShortCircuit, "all zeros"},
		{"all ones", ones, 20, reading.NoAnswer, "no sensor with this address"},
		{"one bit wrong", flipped, 20, reading.Garbled, "checksum"},
		{"another's memory", other, 20, reading.Garbled, "not the bytes"},
		{"power-on, mark lost", pad(powerOnRaw, [3]byte{0x4B, 0x46, 0x7F}, 0x0C), 85, reading.NoAnswer, "without power"},
		{"mark lost at another temperature", pad(0x0191, [3]byte{0x4B, 0x46, 0x7F}, 0x0F), 25, reading.NoAnswer, "without power"},
		{"power-on, mark kept", pad(powerOnRaw, someMark, 0x0C), 20, reading.NoAnswer, "no conversion took place"},
		{"power-on at first contact", pad(powerOnRaw, someMark, 0x0C), math.NaN(), reading.NoAnswer, "no conversion took place"},
		{"a real 85 °C", pad(powerOnRaw, someMark, 0x10), math.NaN(), reading.Good, ""},
		{"a real 85 °C of a copy", pad(powerOnRaw, someMark, 0x0C), 84.5, reading.Good, ""},
		{"without enough power", pad(noPowerRaw, someMark, 0x0C), 20, reading.OutOfRange, "without enough power"},
		{"too hot", pad(0x07D1, someMark, 0x0F), 20, reading.OutOfRange, "125.062"},
		{"too cold", pad(0xFC8F, someMark, 0x0F), 20, reading.OutOfRange, "-55.06"},
	} {
		f := decode(c.s, someMark, c.last)
		if f.Quality != c.want || !strings.Contains(f.Cause, c.cause) || f.Quality.OK() != (f.Cause == "") || !f.Quality.OK() && f.Value != 0 {
			t.Errorf("%s: %+v, want %s because of %q", c.name, f, c.want, c.cause)
		}
	}
}

func TestAddresses(t *testing.T) {
	// The address that periph's documentation of onewire.Address gives as that of
	// a DS18B20.
	const known = onewire.Address(0x7a00000131825228)
	got, err := ParseAddress("28-000001318252")
	if err != nil || got != known || nameOf(got) != "28-000001318252" || !validAddress(known) {
		t.Errorf("got %016x %s, %v", uint64(got), nameOf(got), err)
	}
	for _, s := range []string{"", "28-", "10-000001318252", "28-00000131825", "28-0000013182zz", "000001318252"} {
		if _, err := ParseAddress(s); err == nil {
			t.Errorf("%q is an address", s)
		}
	}
	if validAddress(known+1) || validAddress(0) {
		t.Error("wrong family or checksum is accepted")
	}
}

func FuzzDecode(f *testing.F) {
	good := pad(0x0191, someMark, 0x10)
	f.Add(good[:], 20.0)
	f.Add(make([]byte, 9), math.NaN())
	f.Fuzz(func(t *testing.T, data []byte, last float64) {
		var s scratchpad
		copy(s[:], data)
		right := s
		copy(right[2:], someMark[:])
		right[8] = onewire.CalcCRC(right[:8])
		for _, s := range []scratchpad{s, right} {
			got := decode(s, someMark, last)
			if got.Quality.OK() && !(got.Value >= lowestC && got.Value <= highestC) {
				t.Errorf("% x gives %g °C", s, got.Value)
			}
			if !got.Quality.OK() && got.Cause == "" {
				t.Errorf("% x is %s without a cause", s, got.Quality)
			}
		}
	})
}

func FuzzParseAddress(f *testing.F) {
	f.Add("28-000001318252")
	f.Fuzz(func(t *testing.T, s string) {
		if a, err := ParseAddress(s); err == nil && (!validAddress(a) || nameOf(a) != strings.ToLower(s)) {
			t.Errorf("%q gives %016x", s, uint64(a))
		}
	})
}
