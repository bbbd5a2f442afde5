package page

import (
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

var keyInUse = regexp.MustCompile(`(?:\bt |say\(|badEntry\(|add\()"([a-z0-9.-]*[a-z0-9])"`)

// Every text that is asked for is there, and every one that is there is asked
// for: a translation is this one file.
func TestTextsAreAllThereAndAllInUse(t *testing.T) {
	words, err := loadTexts()
	if err != nil {
		t.Fatal(err)
	}
	used := made()
	for _, found := range keyInUse.FindAllStringSubmatch(sources(t), -1) {
		used = append(used, found[1])
	}
	for _, key := range used {
		if words[key] == "" {
			t.Errorf("text %q is missing", key)
		}
	}
	for _, key := range words.keys() {
		if !slices.Contains(used, key) {
			t.Errorf("text %q is not in use", key)
		}
	}
}

// sources gives the code and the templates.
func sources(t *testing.T) string {
	t.Helper()
	var all strings.Builder
	for _, pattern := range []string{"*.go", "html/*.html"} {
		names, err := fs.Glob(os.DirFS("."), pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			all.Write(text)
		}
	}
	return all.String()
}

// made gives the keys that the code puts together.
func made() (used []string) {
	for c := range rules.Conditions {
		used = append(used, "condition."+c.String())
	}
	for s := range alarm.States {
		if s != alarm.Normal {
			used = append(used, "life."+s.String())
		}
	}
	for q := reading.Fault; q <= reading.Lost; q++ {
		used = append(used, "quality."+q.String())
	}
	for k := range alarm.Kinds {
		if k.ByPerson() {
			used = append(used, "act."+k.String(), "done."+k.String())
		}
	}
	for _, span := range spans {
		used = append(used, "span."+span.Name)
	}
	for _, k := range entryKinds {
		used = append(used, "record."+k.Tile)
		for _, f := range k.Fields {
			used = append(used, "field."+f.Name)
		}
	}
	used = append(used, "cause.supply", "cause.reference", "done.record", "window.ends", "window.span", "span.hours", "span.days", "span.hours.even", "span.days.even", "life.latched-acknowledged",
		"level.high", "level.medium", "level.low", "priority.high", "priority.medium", "priority.low",
		"alarms.waiting", "alarms.inhand", "alarms.aside", "record.slackened.caution")
	return used
}
