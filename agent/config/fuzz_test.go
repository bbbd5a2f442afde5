package config

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
)

// FuzzParse: no input panics; each gives a configuration that the core takes
// or faults in order, each one line with a place inside the file.
func FuzzParse(f *testing.F) {
	paths, err := filepath.Glob(corpus + "/*.yaml")
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
	shape := regexp.MustCompile(`^x\.yaml:[1-9]\d*:[1-9]\d*: .+; .+$`)
	f.Fuzz(func(t *testing.T, data []byte) {
		cfg, faults := Parse("x.yaml", data)
		if (cfg == nil) != (len(faults) > 0) {
			t.Fatalf("configuration %v beside faults %v", cfg, faults)
		}
		if cfg != nil {
			if err := cfg.Rules().Validate(); err != nil {
				t.Fatalf("accepted, but the core refuses: %v", err)
			}
			for _, g := range cfg.Glands {
				for _, s := range g.Settings() {
					if s.From == "" {
						t.Fatalf("%s has no origin", s.Key)
					}
				}
			}
			return
		}
		lines := 1 + strings.Count(string(data), "\n")
		for _, fault := range faults {
			text := fault.String()
			if !shape.MatchString(text) || strings.ContainsFunc(text, unicode.IsControl) {
				t.Errorf("fault %q is not FILE:LINE:COLUMN: what; what to do", text)
			}
			if fault.Line > lines {
				t.Errorf("fault %q is beyond the file's %d lines", text, lines)
			}
		}
		if !slices.Equal(faults, slices.Clone(faults).tidy()) {
			t.Errorf("faults out of order:\n%v", faults)
		}
	})
}
