package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/rules/reading"
)

// A source that is not known must not make its keys unknown too.
func TestSourceKeysAreThoseOfAllSources(t *testing.T) {
	keys := map[string]bool{}
	for kind := range reading.Kinds {
		for _, source := range serves(kind) {
			text := fmt.Sprintf("station: s\nglands:\n  - {id: a, sensors: {%s: {source: %s, colour: 1}}}\n", kind, source)
			_, faults := Parse("x.yaml", []byte(text))
			found := regexp.MustCompile(`the keys here are source(?:, | and )(.*)`).FindStringSubmatch(faults.Error())
			if found == nil {
				t.Fatalf("%s by %s lists no keys:\n%v", kind, source, faults)
			}
			for _, key := range strings.Split(strings.ReplaceAll(found[1], " and ", ", "), ", ") {
				keys[key] = true
				if !slices.Contains(sourceKeys(), key) {
					t.Errorf("sourceKeys lacks %s of %s", key, source)
				}
			}
			if !slices.Contains(sourceNames(), source) {
				t.Errorf("sourceNames lacks %s", source)
			}
		}
	}
	for _, key := range sourceKeys() {
		if !keys[key] {
			t.Errorf("no source has the key %s", key)
		}
	}
}

func TestSensorsAsTheyAreRead(t *testing.T) {
	cfg, err := Load(corpus + "/good-sensors.yaml")
	if err != nil {
		t.Fatal(err)
	}
	a, b, c, e := cfg.Glands[0].Sensors, cfg.Glands[1].Sensors, cfg.Glands[2].Sensors, cfg.Glands[3].Sensors
	hot, cold := b[reading.Temp].Thermocouple, a[reading.Ref].Thermocouple
	if hot.Chip != cold.Chip || *hot.Chip != (ThermocoupleChip{Bus: "0.1", Type: "K", MainsHz: 60, Every: 5 * time.Second}) || !cold.ColdJunction {
		t.Errorf("thermocouple %+v, cold junction %+v of %+v", hot.Chip, cold, cold.Chip)
	}
	if first, second := b[reading.Ref].OneWire.Bus, c[reading.Ref].OneWire.Bus; first != second || *first != (OneWireBus{"1", 20 * time.Second, 5 * time.Second}) {
		t.Errorf("1-wire %+v and %+v", first, second)
	}
	chip := e[reading.Temp].Analog.Chip
	if chip != e[reading.Run].Analog.Chip || *chip != (AnalogChip{"1", 0x48, 2 * time.Second, time.Second, true}) {
		t.Errorf("analog %+v and %+v", chip, e[reading.Run].Analog.Chip)
	}
	if turning := e[reading.Run].Analog.Turning; turning == nil || *turning != (Turning{8, 2}) {
		t.Errorf("turning %+v", turning)
	}
	if f := cfg.Glands[4].Sensors[reading.Ref].File; f.Scale != 0 || f.Every != 10*time.Second {
		t.Errorf("file %+v, want the scale to be found", f)
	}
	want := []ModbusConnection{
		{ID: "plc", URL: "tcp://10.0.0.5:502", Every: time.Second, Timeout: time.Second, MaxGap: 8},
		{ID: "line", URL: "rtu:///dev/ttyUSB0", Every: 500 * time.Millisecond, Timeout: 300 * time.Millisecond, MaxGap: -1, Baud: 19200, Parity: "even", StopBits: 1},
	}
	if !slices.Equal(cfg.Modbus, want) {
		t.Errorf("modbus %+v", cfg.Modbus)
	}
}
