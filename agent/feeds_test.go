package agent

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weepd/agent/config"
	"weepd/rules/reading"
)

func load(t *testing.T, dir, text string) *config.Config {
	t.Helper()
	path := filepath.Join(dir, "station.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

func writeRecording(t *testing.T, dir, name string) {
	t.Helper()
	text := "time,point,value\n2026-03-01T06:00:00Z,a.drip,1\n2026-03-01T06:00:00Z,a.temp,40\n"
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestFeedsOfEverySource(t *testing.T) {
	dir := t.TempDir()
	writeRecording(t, dir, "a.csv")
	cfg := load(t, dir, `station: quarry
glands:
  - id: a
    name: Gland A
    sensors:
      drip: {source: recording, path: a.csv}
      temp: {source: recording, path: a.csv}
      ref: {source: file, path: ref, scale: 0.001}
  - id: b
    sensors:
      drip: {source: simulated}
      run: {source: simulated}
  - id: c
    sensors: {drip: {source: gpio, pin: GPIO17}}
`)
	clock := NewClock(nil)
	feeds, err := Feeds(cfg, clock, nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range feeds {
		var points []string
		for _, p := range f.Points {
			points = append(points, p.String())
		}
		got = append(got, strings.ReplaceAll(f.Name, dir+"/", "")+": "+strings.Join(points, " "))
	}
	want := "file ref: a.ref\ngpio GPIO17: c.drip\nrecording a.csv: a.drip a.temp\nsimulated station of 1 glands: b.drip b.run"
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("feeds:\n%s\nwant:\n%s", text, want)
	}
	if clock.Speed != 1 {
		t.Errorf("speed %g", clock.Speed)
	}
	glands := Glands(cfg)
	if glands[0].Name != "Gland A" || !glands[0].Rules.Fitted[reading.Ref] || glands[1].Rules.Fitted[reading.Temp] {
		t.Errorf("glands %+v", glands)
	}
}

func TestRecordingsMayHurryOnlyTogether(t *testing.T) {
	dir := t.TempDir()
	writeRecording(t, dir, "a.csv")
	writeRecording(t, dir, "b.csv")
	clock := NewClock(nil)
	hurried := load(t, dir, `station: quarry
glands:
  - {id: a, sensors: {drip: {source: recording, path: a.csv, speed: 20}}}
  - {id: b, sensors: {drip: {source: recording, path: b.csv, speed: 20, point: a.drip}}}
`)
	if _, err := Feeds(hurried, clock, nil); err != nil || clock.Speed != 20 {
		t.Errorf("error %v, speed %g, want 20", err, clock.Speed)
	}
	for name, second := range map[string]string{
		"another speed": "recording, path: b.csv, speed: 10, point: a.drip",
		"a live source": "simulated",
	} {
		cfg := load(t, dir, `station: quarry
glands:
  - {id: a, sensors: {drip: {source: recording, path: a.csv, speed: 20}}}
  - {id: b, sensors: {drip: {source: `+second+`}}}
`)
		_, err := Feeds(cfg, NewClock(nil), nil)
		if err == nil || !strings.Contains(err.Error(), "a speed other than 1 needs every source to be a recording of the same speed") {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func TestFeedsReportsAllThatIsMissing(t *testing.T) {
	dir := t.TempDir()
	cfg := load(t, dir, `station: quarry
glands:
  - {id: a, sensors: {drip: {source: recording, path: no-a.csv}}}
  - {id: b, sensors: {drip: {source: recording, path: no-b.csv}}}
`)
	_, err := Feeds(cfg, NewClock(nil), nil)
	if err == nil || !strings.Contains(err.Error(), "no-a.csv") || !strings.Contains(err.Error(), "no-b.csv") {
		t.Errorf("error %v, want both files", err)
	}
}
