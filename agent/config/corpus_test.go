package config

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write the *.want files anew")

const corpus = "../../testdata/configs"

// TestCorpus holds every configuration of the corpus to its *.want file: the
// faults as `weepd check` prints them or, for good-*, what is in force.
func TestCorpus(t *testing.T) {
	paths, err := filepath.Glob(corpus + "/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no corpus in %s: %v", corpus, err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			cfg, faults := Parse(filepath.Base(path), data)
			if good := strings.HasPrefix(name, "good-"); good != (len(faults) == 0) || good != (cfg != nil) {
				t.Errorf("good %v, but configuration %v and faults:\n%v", good, cfg != nil, faults)
			}
			matchWant(t, strings.TrimSuffix(path, ".yaml")+".want", outcome(cfg, faults))
		})
	}
}

func matchWant(t *testing.T, path, got string) {
	t.Helper()
	if *rewrite {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got\n%s\nwant\n%s\n(-rewrite takes the new text over)", got, want)
	}
}

func outcome(cfg *Config, faults Faults) string {
	if cfg == nil {
		return faults.Error() + "\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "station %s, listen %s, log %s %s\n", cfg.Station, cfg.HTTP.Listen, cfg.Log.Level, cfg.Log.Format)
	if h := cfg.HTTP; h.Users != "" || h.TLS != (HTTPTLS{}) || h.Insecure || h.Read != ReadLocal {
		fmt.Fprintf(&b, "http %+v\n", h)
	}
	for _, set := range append(cfg.Settings(), cfg.Alarms.Settings()...) {
		if !strings.HasPrefix(set.From, "default") {
			fmt.Fprintf(&b, "%s = %s (%s)\n", set.Key, set.Value, set.From)
		}
	}
	if s := cfg.Store; s != (Store{MaxBytes: defaultStoreBytes}) {
		fmt.Fprintf(&b, "store %+v\n", s)
	}
	if cfg.MQTT != nil {
		fmt.Fprintf(&b, "mqtt %+v\n", *cfg.MQTT)
	}
	for _, g := range cfg.Glands {
		fmt.Fprintf(&b, "gland %s (%s)\n", g.ID, g.Name)
		for _, s := range g.Settings() {
			fmt.Fprintf(&b, "  %s = %s (%s)\n", s.Key, s.Value, s.From)
		}
		for _, note := range g.Notes() {
			fmt.Fprintf(&b, "  note: %s\n", note)
		}
	}
	for _, w := range cfg.Warnings {
		fmt.Fprintf(&b, "%s\n", w)
	}
	return b.String()
}
