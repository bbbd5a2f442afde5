package config

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/invopop/jsonschema"
	validator "github.com/santhosh-tekuri/jsonschema/v6"
	yaml "go.yaml.in/yaml/v4"

	"weepd/agent/config/schema"
	"weepd/rules"
)

const schemaFile = "schema/weepd.schema.json"

// TestSchemaIsCurrent holds the schema that `weepd check --schema` prints to the
// types that it is made from.
func TestSchemaIsCurrent(t *testing.T) {
	got := generated(t)
	if *rewrite {
		if err := os.WriteFile(schemaFile, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(got, schema.JSON()) {
		t.Errorf("%s is not what the types in agent/config/schema give; go test ./agent/config -run Schema -rewrite", schemaFile)
	}
}

func generated(t *testing.T) []byte {
	t.Helper()
	g := generator{comments: map[string]string{}}
	outer := g.reflector()
	if err := outer.AddGoComments("weepd/agent/config", "./schema", jsonschema.WithFullComment()); err != nil {
		t.Fatal(err)
	}
	comments := map[string]string{}
	for name, text := range outer.CommentMap {
		comments[name] = strings.ReplaceAll(text, "\n", " ")
	}
	g.comments = comments
	outer = g.reflector()
	outer.ExpandedStruct = true
	root := outer.Reflect(schema.Station{})
	root.Title = "weepd configuration"
	root.Definitions["Sensors"].MinProperties = new(uint64)
	*root.Definitions["Sensors"].MinProperties = 1
	out, err := json.MarshalIndent(root, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return append(out, '\n')
}

type generator struct{ comments map[string]string }

func (g generator) reflector() *jsonschema.Reflector {
	return &jsonschema.Reflector{Anonymous: true, CommentMap: g.comments, Mapper: g.value}
}

// value gives the schema of the types that are more than their Go kind.
func (g generator) value(t reflect.Type) *jsonschema.Schema {
	if t.Kind() == reflect.Struct && t.NumField() > 0 && t.Field(0).Type == reflect.TypeFor[schema.OneOf]() {
		return g.oneOf(t)
	}
	text := func(pattern string) *jsonschema.Schema { return &jsonschema.Schema{Type: "string", Pattern: pattern} }
	either := func(list ...*jsonschema.Schema) *jsonschema.Schema { return &jsonschema.Schema{AnyOf: list} }
	number := func(low, high json.Number) *jsonschema.Schema {
		return &jsonschema.Schema{Type: "integer", Minimum: low, Maximum: high}
	}
	const bus = `(0|[1-9][0-9]{0,4})$`
	switch t {
	case reflect.TypeFor[schema.ID]():
		return text(`^[A-Za-z0-9_-]{1,32}$`)
	case reflect.TypeFor[schema.Duration]():
		return either(text(`^\+?(([0-9]+(\.[0-9]*)?|\.[0-9]+)(ns|us|µs|μs|ms|s|m|h))+$`), &jsonschema.Schema{Const: 0})
	case reflect.TypeFor[schema.Path]():
		return &jsonschema.Schema{Type: "string", Pattern: `[^/]$`, MaxLength: new(uint64(maxPath))}
	case reflect.TypeFor[schema.Size]():
		return either(text(sizePattern.String()), number("4194304", "1099511627776"))
	case reflect.TypeFor[schema.Pin]():
		return either(&jsonschema.Schema{Type: "string", Pattern: `^[^ -]`, MaxLength: new(uint64(maxPin))}, number("0", "9999"))
	case reflect.TypeFor[schema.SPIBus]():
		return either(text(`^(/dev/spidev)?(SPI)?[0-9]+\.[0-9]+$`), &jsonschema.Schema{Type: "number", Minimum: "0"})
	case reflect.TypeFor[schema.I2CBus]():
		return either(text(`^(/dev/i2c-)?(I2C)?`+bus), number("0", "65535"))
	case reflect.TypeFor[schema.OneWireBus]():
		return either(text(`^(w1_bus_master)?`+bus), number("0", "65535"))
	case reflect.TypeFor[schema.ChipAddress]():
		return either(text(`^0[xX]0*4[89abAB]$`), number("72", "75")) // 0x48 is a number to YAML
	case reflect.TypeFor[schema.AnalogInput]():
		return either(&jsonschema.Schema{Type: "string", Enum: []any{"0", "1", "2", "3", "0-1", "0-3", "1-3", "2-3"}}, number("0", "3"))
	case reflect.TypeFor[schema.Condition]():
		s := &jsonschema.Schema{Type: "string"}
		for c := range rules.Conditions {
			s.Enum = append(s.Enum, c.String())
		}
		return s
	}
	return nil
}

func (g generator) oneOf(t reflect.Type) *jsonschema.Schema {
	s := &jsonschema.Schema{}
	for i := 1; i < t.NumField(); i++ {
		inner := g.reflector()
		inner.DoNotReference = true
		one := inner.ReflectFromType(t.Field(i).Type)
		one.Version = ""
		s.OneOf = append(s.OneOf, one)
	}
	return s
}

func compiledSchema(t *testing.T) *validator.Schema {
	t.Helper()
	doc, err := validator.UnmarshalJSON(bytes.NewReader(schema.JSON()))
	if err != nil {
		t.Fatal(err)
	}
	c := validator.NewCompiler()
	if err := c.AddResource("weepd.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("weepd.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON gives a YAML document as an editor hands it to a validator.
func asJSON(data []byte) (any, error) {
	var v any
	if err := yaml.Unmarshal(data, &v); err != nil {
		return nil, err
	}
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return validator.UnmarshalJSON(bytes.NewReader(text))
}

// beyondSchema are the bad files of the corpus whose fault no schema can say:
// what is no YAML, and what contradicts another part of the file.
var beyondSchema = map[string]string{
	"duplicate-id":     "ids of two glands",
	"http-open-nobody": "listen, tls, users and insecure together",
	"http-open-plain":  "listen, tls, users and insecure together",
	"http-open":        "listen, tls, users and insecure together",
	"http-read-users":  "read and users together",
	"limits-order":     "limits against each other",
	"mqtt-plain-tls":   "broker and tls together",
	"one-pin-twice":    "pins of two glands",
	"remote-write":     "username and password_file, and lengths of time",
	"two-documents":    "the second document",
}

// TestSchemaOfCorpus: what the decoder takes is valid, and what is wrong in shape
// is not.
func TestSchemaOfCorpus(t *testing.T) {
	s := compiledSchema(t)
	paths, err := filepath.Glob(corpus + "/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatal("no corpus", err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := asJSON(data)
		if err == nil {
			err = s.Validate(doc)
		}
		why, beyond := beyondSchema[name]
		switch good := strings.HasPrefix(name, "good-"); {
		case good && err != nil:
			t.Errorf("%s is good, but not valid: %v; mend its type in agent/config/schema", name, err)
		case !good && !beyond && err == nil:
			t.Errorf("%s is bad, but valid; mend its type in agent/config/schema or, if no schema can say it, add it to beyondSchema", name)
		case beyond && err != nil:
			t.Errorf("%s (%s) is not valid after all: %v; take it out of beyondSchema", name, why, err)
		}
	}
}
