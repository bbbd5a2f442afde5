package config

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
)

// Difference is a key whose value is another.
type Difference struct {
	Key      string // e.g. glands.p1-de.limits.rise_c
	Old, New string // empty: not in the file, and no default that is shown
}

// Diff compares two valid configurations with their texts: every key that the
// files give, and everything in force for the glands and alarms, which may change
// by a default alone. Secrets, which belong in files of their own, are not shown.
func Diff(old, now *Config, oldText, nowText []byte) []Difference {
	found := make(map[string]Difference)
	compare(found, flat(oldText), flat(nowText))
	compare(found, inForce(old), inForce(now))
	for key, d := range found {
		gland, inside, _ := strings.Cut(strings.TrimPrefix(key, "glands."), ".")
		if strings.HasPrefix(key, "glands.") && inside != "" && (d.Old == "") != (d.New == "") && old.has(gland) != now.has(gland) {
			delete(found, key) // the gland as a whole is said
		}
	}
	for _, g := range old.Glands {
		if !now.has(g.ID) {
			found["glands."+g.ID] = Difference{"glands." + g.ID, "configured", ""}
		}
	}
	for _, g := range now.Glands {
		if !old.has(g.ID) {
			found["glands."+g.ID] = Difference{"glands." + g.ID, "", "configured"}
		}
	}
	var list []Difference
	for _, key := range slices.Sorted(maps.Keys(found)) {
		list = append(list, found[key])
	}
	return list
}

func (c *Config) has(gland string) bool {
	return slices.ContainsFunc(c.Glands, func(g Gland) bool { return g.ID == gland })
}

func compare(found map[string]Difference, old, now map[string]string) {
	for key, v := range old {
		if now[key] != v {
			found[key] = Difference{key, masked(key, v), masked(key, now[key])}
		}
	}
	for key, v := range now {
		if _, known := old[key]; !known {
			found[key] = Difference{key, "", masked(key, v)}
		}
	}
}

// secret are the last words of keys whose values nobody may read in a journal.
var secret = regexp.MustCompile(`(?i)(password|passphrase|secret|token|pin_code)$`)

const longestShown = 120

func masked(key, value string) string {
	if value != "" && secret.MatchString(key) {
		return "(not shown)"
	}
	if len(value) > longestShown {
		value = strings.ToValidUTF8(value[:longestShown], "") + "..."
	}
	return value
}

// inForce lists the settings of the glands and alarms with their defaults.
func inForce(c *Config) map[string]string {
	list := make(map[string]string)
	for _, s := range c.Alarms.Settings() {
		list[s.Key] = s.Value
	}
	for _, g := range c.Glands {
		list["glands."+g.ID+".name"] = g.Name
		for _, s := range g.Settings() {
			list["glands."+g.ID+"."+s.Key] = s.Value
		}
	}
	return list
}

// flat lists every value of a file by its path; members of lists by their id or
// else their place.
func flat(text []byte) map[string]string {
	var tree any
	list := make(map[string]string)
	if err := yaml.Unmarshal(text, &tree); err == nil { // it was parsed before
		flatten(list, "", tree)
	}
	return list
}

func flatten(list map[string]string, path string, node any) {
	under := func(key string) string {
		if path == "" {
			return key
		}
		return path + "." + key
	}
	switch v := node.(type) {
	case map[string]any:
		for key, sub := range v {
			flatten(list, under(key), sub)
		}
	case []any:
		if values, plain := plainList(v); plain {
			list[path] = values
			return
		}
		for i, sub := range v {
			key := fmt.Sprint(i + 1)
			if m, ok := sub.(map[string]any); ok && m["id"] != nil {
				key = fmt.Sprint(m["id"])
			}
			flatten(list, under(key), sub)
		}
	case nil:
		list[path] = "null"
	default:
		list[path] = fmt.Sprint(v)
	}
}

// plainList gives a list of plain values as one.
func plainList(values []any) (string, bool) {
	var list []string
	for _, v := range values {
		switch v.(type) {
		case map[string]any, []any:
			return "", false
		}
		list = append(list, fmt.Sprint(v))
	}
	return strings.Join(list, ", "), true
}
