package agent

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"weepd/agent/config"
	"weepd/rules/reading"
)

const configs = "../testdata/configs"

func TestPointsOnOneDeviceShareASource(t *testing.T) {
	cfg, err := config.Load(configs + "/good-sensors.yaml")
	if err != nil {
		t.Fatal(err)
	}
	feeds, err := Feeds(cfg, NewClock(nil), nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	points := make(map[reading.Point]bool)
	for _, f := range feeds {
		line := strings.ReplaceAll(f.Name, configs+"/", "") + ":"
		for _, p := range f.Points {
			line += " " + p.String()
			points[p] = true
		}
		got = append(got, line)
	}
	slices.Sort(got)
	want := `1-wire bus 1: p1-nde.ref p2-de.ref
analog I2C1/48: p2-nde.temp p2-nde.ref p2-nde.run
counter /sys/bus/counter/devices/counter0/count0/count: p1-nde.drip
file /sys/bus/i2c/devices/1-0049/hwmon/hwmon*/temp1_input: p3-de.ref
gpio GPIO22: p3-de.drip
gpio P8_25 [mmc1_dat0]: p1-de.run
gpio gpiochip0:17: p1-de.drip
modbus /dev/ttyUSB0: p2-nde.drip p3-de.run
modbus tcp://10.0.0.5:502: p2-de.drip p2-de.temp p2-de.run
rtd SPI0.0: p1-de.temp
rtd SPI1.0: p3-de.temp
speed pulses counter1: p1-nde.run
thermocouple SPI0.1: p1-nde.temp p1-de.ref`
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("feeds:\n%s\nwant:\n%s", text, want)
	}
	for _, g := range cfg.Glands {
		for kind := range reading.Kinds {
			if p := (reading.Point{Gland: g.ID, Kind: kind}); !points[p] {
				t.Errorf("no source for %s", p)
			}
		}
	}
}

func TestUnusedConnectionIsTold(t *testing.T) {
	var out bytes.Buffer
	cfg := load(t, t.TempDir(), `station: quarry
modbus: [{id: plc, url: "tcp://127.0.0.1:502"}]
glands: [{id: a, sensors: {drip: {source: simulated}}}]
`)
	feeds, err := Feeds(cfg, NewClock(nil), slog.New(slog.NewTextHandler(&out, nil)))
	if err != nil || len(feeds) != 1 || !strings.Contains(out.String(), "connection=plc") {
		t.Errorf("%d feeds, error %v, log %s", len(feeds), err, &out)
	}
}

// FuzzFeeds: whatever the configuration accepts, the sources accept too, and
// every point of it has one. Only recordings are looked at when they are made.
func FuzzFeeds(f *testing.F) {
	paths, err := filepath.Glob(configs + "/*.yaml")
	if err != nil || len(paths) == 0 {
		f.Fatalf("no corpus: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		cfg, faults := config.Parse("x.yaml", data)
		if len(faults) > 0 {
			return
		}
		want := 0
		for i, g := range cfg.Glands {
			for kind, s := range g.Sensors {
				switch {
				case s == nil:
				case s.Recording != nil:
					cfg.Glands[i].Sensors[kind] = nil
				default:
					want++
				}
			}
		}
		feeds, err := Feeds(cfg, NewClock(nil), nil)
		if err != nil {
			t.Fatalf("accepted, but a source refuses: %v", err)
		}
		got := make(map[reading.Point]bool)
		for _, feed := range feeds {
			for _, p := range feed.Points {
				got[p] = true
			}
		}
		if len(got) != want {
			t.Errorf("%d points have a source, want %d", len(got), want)
		}
	})
}
