package config

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weepd/agent/config/schema"
)

// withDefault finds the keys of the schema that have a default.
func withDefault(v any, keys map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		for key, sub := range v {
			if inner, ok := sub.(map[string]any); ok && inner["default"] != nil {
				keys[key] = true
			}
			withDefault(sub, keys)
		}
	case []any:
		for _, sub := range v {
			withDefault(sub, keys)
		}
	}
}

// Every key that has a default is shown with where its value comes from.
func TestEveryDefaultIsShown(t *testing.T) {
	var doc any
	if err := json.Unmarshal(schema.JSON(), &doc); err != nil {
		t.Fatal(err)
	}
	missing := map[string]bool{}
	withDefault(doc, missing)
	if len(missing) < 30 {
		t.Fatalf("only %d keys have a default", len(missing))
	}
	paths, err := filepath.Glob(corpus + "/good-*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		cfg, faults := Parse(path, data)
		if faults != nil {
			t.Fatal(faults)
		}
		list := append(cfg.Settings(), cfg.Alarms.Settings()...)
		for _, g := range cfg.Glands {
			list = append(list, g.Settings()...)
		}
		for _, set := range list {
			if set.From == "" || set.From == "default: " {
				t.Errorf("%s: %s has no origin", path, set.Key)
			}
			delete(missing, set.Key[strings.LastIndex(set.Key, ".")+1:])
		}
	}
	for key := range missing {
		t.Errorf("key %q has a default that `weepd check` does not show: add it to the Settings of agent/config", key)
	}
}

// A setting of a chip that another point gives is no default.
func TestSettingsOfSharedDevices(t *testing.T) {
	cfg, faults := Parse("x.yaml", []byte(`station: s
glands:
  - id: p1
    sensors:
      temp: {source: thermocouple, bus: 0.1, type: K}
      ref: {source: thermocouple, bus: 0.1, cold_junction: true, every: 5s}
      run: {source: gpio, pin: 5}
  - id: p2
    sensors:
      run: {source: shared, point: p1.run}
`))
	if faults != nil {
		t.Fatal(faults)
	}
	found := map[string]string{}
	for _, g := range cfg.Glands {
		for _, set := range g.Settings() {
			found[g.ID+" "+set.Key] = set.Value + ", " + set.From
		}
	}
	for key, want := range map[string]string{
		"p1 sensors.temp.every":   "5s, given at another point of the same device",
		"p1 sensors.ref.every":    "5s, line 6",
		"p1 sensors.ref.timeout":  "2s, default: a choice of ours",
		"p1 sensors.run.debounce": "20ms, default: contacts bounce for some milliseconds, a starter's for longer; common practice, no source",
		"p2 sensors.run.debounce": "", // shown where the sensor is
	} {
		if found[key] != want {
			t.Errorf("%s is %q, want %q", key, found[key], want)
		}
	}
}
