package mqtt

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"
)

// Every requirement of Sparkplug 3.0.0 for edge nodes names a test that there
// is, or why it does not apply.
func TestConformanceTable(t *testing.T) {
	file, err := os.Open("sparkplug/conformance.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"id", "requirement", "test", "not applicable because"}; !slices.Equal(rows[0], want) {
		t.Fatalf("columns %q, want %q", rows[0], want)
	}
	tests, seen, tested := testsHere(t), make(map[string]bool), 0
	for i, row := range rows[1:] {
		id, requirement, test, reason := row[0], row[1], row[2], row[3]
		switch {
		case !regexp.MustCompile(`^tck-id-[a-zA-Z0-9-]+$`).MatchString(id) || requirement == "" || seen[id]:
			t.Errorf("row %d: %q is empty or there twice", i+2, id)
		case (test == "") == (reason == ""):
			t.Errorf("row %d, %s: want a test or a reason", i+2, id)
		case test != "" && !tests[test]:
			t.Errorf("row %d, %s: there is no %s", i+2, id, test)
		}
		seen[id] = true
		if test != "" {
			tested++
		}
	}
	if tested < 100 {
		t.Errorf("only %d requirements are tested", tested)
	}
}

func testsHere(t *testing.T) map[string]bool {
	t.Helper()
	found := make(map[string]bool)
	for _, pattern := range []string{"*_test.go", "sparkplug/*_test.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`).FindAllSubmatch(text, -1) {
				found[string(m[1])] = true
			}
		}
	}
	return found
}
