package config

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weepd/agent/config/schema"
	"weepd/rules/reading"
)

// keysOf has the keys that a mapping may have, by the decoder's name of it.
type keysOf map[string]map[string]bool

func (k keysOf) add(mapping, key string) {
	if k[mapping] == nil {
		k[mapping] = map[string]bool{}
	}
	k[mapping][key] = true
}

// node is what of a schema matters here.
type node struct {
	Ref        string `json:"$ref"`
	Properties map[string]node
	Items      *node
	OneOf      []node
	Enum       []any
	Defs       map[string]node `json:"$defs"`
}

// schemaKeys walks the schema.
func schemaKeys(t *testing.T) keysOf {
	t.Helper()
	var root node
	if err := json.Unmarshal(schema.JSON(), &root); err != nil {
		t.Fatal(err)
	}
	keys := keysOf{}
	root.walk("", root.Defs, keys)
	return keys
}

func (n node) walk(name string, defs map[string]node, keys keysOf) {
	if n.Ref != "" {
		n = defs[strings.TrimPrefix(n.Ref, "#/$defs/")]
	}
	for _, one := range n.OneOf {
		// The sources of all kinds of points are one mapping to the decoder.
		one.walk("source "+fmt.Sprint(one.Properties["source"].Enum[0]), defs, keys)
	}
	for key, sub := range n.Properties {
		keys.add(name, key)
		inner := join(name, key)
		switch {
		case name == "gland":
			inner = key // the decoder speaks of limits, not of gland.limits
		case sub.Items != nil:
			sub = *sub.Items
			if key == "glands" {
				inner = "gland"
			}
		}
		sub.walk(inner, defs, keys)
	}
}

// decoderKeys walks the decoder over the corpus.
func decoderKeys(t *testing.T) keysOf {
	t.Helper()
	paths, err := filepath.Glob(corpus + "/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatal("no corpus", err)
	}
	keys := keysOf{}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		d := newDecoder(path)
		d.walked = func(e entry, fields []field) {
			name := e.path
			if kind, found := strings.CutPrefix(name, "sensors."); found && isKind(kind) {
				if name = d.sourceOf(e); name == "" {
					return
				}
			}
			for _, f := range fields {
				keys.add(name, f.key)
			}
		}
		_, _ = parse(d, data) // bad ones know keys too
	}
	return keys
}

func isKind(word string) bool {
	for kind := range reading.Kinds {
		if kind.String() == word {
			return true
		}
	}
	return false
}

// sourceOf names the mapping of a point by its source; empty if it has none.
func (d *decoder) sourceOf(e entry) string {
	pairs, _ := d.pairs(e)
	for _, pair := range pairs {
		if pair.Key.GetToken().Value == "source" && pair.Value != nil {
			if word := pair.Value.GetToken().Value; slices.Contains(sourceNames(), word) {
				return "source " + word
			}
		}
	}
	return ""
}

// TestSchemaHasEveryKey: the schema has the keys that the decoder knows, in each
// mapping, and no others.
func TestSchemaHasEveryKey(t *testing.T) {
	inSchema, inDecoder := schemaKeys(t), decoderKeys(t)
	for _, name := range slices.Sorted(maps.Keys(inDecoder)) {
		for _, key := range slices.Sorted(maps.Keys(inDecoder[name])) {
			if !inSchema[name][key] {
				t.Errorf("the decoder knows key %q in %q, the schema does not: add a field with `json:\"%s,omitempty\"`, bounds and a comment to its type in agent/config/schema, then go test ./agent/config -run Schema -rewrite", key, name, key)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(inSchema)) {
		for _, key := range slices.Sorted(maps.Keys(inSchema[name])) {
			if !inDecoder[name][key] {
				t.Errorf("the schema has key %q in %q, the decoder does not, or no file in testdata/configs has %q: take the field out of agent/config/schema, or add a good file", key, name, name)
			}
		}
	}
}

var scalarInFile = regexp.MustCompile(`[a-z_]+: *([^\s,{}\[\]#]+)`)

// values that may be put in a scalar's place. Exponents are left out: readers of
// YAML differ in whether 2e3 is a number.
var values = []string{
	"-1", "0", "0.004", "0.5", "1", "3", "7", "47", "2000", "99999", "10000000000000", ".5", "abc", `"abc"`, `"12"`, "10s", "1m30s", "100h", "-3s", "0x48",
	"0-1", "true", "false", "[1]", "{a: 1}", "GPIO5", "x/", "/x", "1.0", "64", "p1-de.temp", "u16", "i2c-1", "\"\"", "~", "4MiB", "1KB",
	"127.0.0.1:80", "tcp://h:1", "ssl://h", "rtu:///dev/x", "burning", "users", "natural", "none", "4-20mA", "28-0123456789ab", "é",
}

// TestSchemaAgreesWithDecoder: whatever scalar is put in place of another, what
// the decoder takes is valid; and an unknown key or a number out of range is not.
func TestSchemaAgreesWithDecoder(t *testing.T) {
	s := compiledSchema(t)
	paths, err := filepath.Glob(corpus + "/good-*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatal("no corpus", err)
	}
	taken, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		data, err := os.ReadFile(rapid.SampledFrom(paths).Draw(t, "file"))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.TrimPrefix(string(data), bom)
		places := scalarInFile.FindAllStringSubmatchIndex(text, -1)
		at := rapid.SampledFrom(places).Draw(t, "place")
		value := rapid.SampledFrom(values).Draw(t, "value")
		changed := text[:at[2]] + value + text[at[3]:]
		if rapid.IntRange(0, 9).Draw(t, "key too") == 0 {
			changed = text[:at[0]] + "odd_" + text[at[0]:]
		}
		_, faults := Parse("x.yaml", []byte(changed))
		doc, invalid := asJSON([]byte(changed))
		if invalid == nil {
			invalid = s.Validate(doc)
		}
		if faults == nil {
			taken++
			if invalid != nil {
				t.Fatalf("the decoder takes this, the schema does not (%v):\n%s", invalid, changed)
			}
			return
		}
		for _, f := range faults {
			number := strings.Contains(f.What, "out of range") && !strings.Contains(f.Do, "duration") && !strings.Contains(f.Do, "a size")
			if number || strings.Contains(f.What, "unknown key") {
				refused++
				if invalid == nil {
					t.Fatalf("%s, but it is valid:\n%s", f, changed)
				}
			}
		}
	})
	if !t.Failed() && (taken == 0 || refused == 0) {
		t.Errorf("%d were taken and %d refused: the values are badly chosen", taken, refused)
	}
}
