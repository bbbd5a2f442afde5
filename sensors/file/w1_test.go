package file

import (
	"errors"
	"strings"
	"testing"
)

func TestW1Slave(t *testing.T) {
	const good = "91 01 4b 46 7f ff 0c 10 bf : crc=bf YES\n91 01 4b 46 7f ff 0c 10 bf t=25062\n"
	cases := []struct {
		text string
		want float64
		err  error
	}{
		{good, 25062, nil},
		{strings.ReplaceAll(good, "25062", "-5500"), -5500, nil},
		{strings.ReplaceAll(good, "YES", "NO"), 0, errGarbled},
		{good[:39], 0, errGarbled},
		{strings.ReplaceAll(good, "t=25062", "t="), 0, errGarbled},
		{strings.ReplaceAll(good, "t=25062", "t=2506200"), 0, errGarbled},
		{"", 0, errGarbled},
		{"00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", 0, errGarbled},
		{"ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62\n", 0, errGarbled},
		{"50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", 0, errFault},
		{"50 05 4b 46 7f ff 10 10 2c : crc=2c YES\n50 05 4b 46 7f ff 10 10 2c t=85000\n", 85000, nil},
	}
	for _, c := range cases {
		if got, err := parseW1([]byte(c.text)); got != c.want || !errors.Is(err, c.err) {
			t.Errorf("%q: %g, %v; want %g, %v", c.text, got, err, c.want, c.err)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"25062\n", "", "NaN", "-1e999", "0x1p4", "\x00\x00",
		"91 01 4b 46 7f ff 0c 10 bf : crc=bf YES\n91 01 4b 46 7f ff 0c 10 bf t=25062\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if v, err := parseNumber(text); err == nil && v-v != 0 {
			t.Fatalf("%q is %g", text, v)
		}
		v, err := parseW1(text)
		if err == nil && (v < -999999 || v > 999999 || !strings.Contains(string(text), "YES")) {
			t.Fatalf("%q is %g", text, v)
		}
	})
}
