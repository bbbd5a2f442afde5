package page

import (
	"encoding/json"
	"net/url"
	"strconv"
	"strings"

	"weepd/agent"
)

// entryField is what a kind of entry asks for beside itself.
type entryField struct {
	Name     string // in the value and in the texts
	Text     bool   // not a number
	Optional bool
	Least    float64
	Most     float64
	Step     string // what the browser lets in; the server takes any number within
	Start    string // what stands there at first
}

// entryKind is a tile of the form: one tap, a number if it has one, and a tap.
type entryKind struct {
	Tile   string // of the form and the texts
	Kind   string // of the record
	Sign   float64
	Fields []entryField
}

// entryKinds are what can be recorded.
var entryKinds = [...]entryKind{
	{Tile: "tightened", Kind: "adjusted", Sign: 1, Fields: []entryField{{Name: "flats", Least: 0.25, Most: 36, Step: "0.25"}}},
	{Tile: "slackened", Kind: "adjusted", Sign: -1, Fields: []entryField{{Name: "flats", Least: 0.25, Most: 36, Step: "0.25"}}},
	{Tile: "counted", Kind: "counted", Sign: 1, Fields: []entryField{
		{Name: "drops", Least: 0, Most: 10000, Step: "1"}, {Name: "minutes", Least: 0.1, Most: 60, Step: "any", Start: "1"},
	}},
	{Tile: "sensor-cleaned", Kind: "sensor-cleaned", Sign: 1},
	{Tile: "repacked", Kind: "repacked", Sign: 1, Fields: []entryField{
		{Name: "rings", Optional: true, Least: 1, Most: 20, Step: "1"}, {Name: "packing", Text: true, Optional: true},
	}},
	{Tile: "sleeve-changed", Kind: "sleeve-changed", Sign: 1},
	{Tile: "shaft-changed", Kind: "shaft-changed", Sign: 1},
	{Tile: "flush-changed", Kind: "flush-changed", Sign: 1, Fields: []entryField{{Name: "bar", Optional: true, Least: 0, Most: 100, Step: "any"}}},
}

// Forms of the list of entries and of the offers: they take an entry back,
// correct its figures, and confirm that a step in the weep was an adjustment.
const (
	tileVoid    = "void"
	tileFix     = "fix"
	tileConfirm = "confirm"
)

// fixable are the figures that can be corrected, by the kind of the entry.
// Slackened is below 0.
var fixable = map[string][]entryField{
	"adjusted": {{Name: "flats", Least: -36, Most: 36, Step: "0.25"}},
	"counted":  entryKinds[2].Fields,
}

// packingMost is the longest name of a packing, in bytes.
const packingMost = 100

// recorded makes kind and value of a record of a form.
func (s *Server) recorded(form url.Values) (kind string, value json.RawMessage, refused *agent.Reply) {
	tile := form.Get("tile")
	switch tile {
	case tileVoid, tileFix, tileConfirm:
		return s.amended(form, tile)
	}
	for _, k := range entryKinds {
		if k.Tile != tile {
			continue
		}
		values, refused := s.fields(form, k.Fields, k.Sign)
		if refused != nil || len(values) == 0 {
			return k.Kind, nil, refused
		}
		return k.Kind, encoded(values), nil
	}
	return "", nil, s.badEntry("record.bad.kind")
}

func (s *Server) badEntry(key string, fill ...any) *agent.Reply {
	r := agent.Refuse(agent.ReasonMalformed, "%s", s.texts.say(key, fill...))
	return &r
}

// amended is an entry about an entry.
func (s *Server) amended(form url.Values, tile string) (kind string, value json.RawMessage, refused *agent.Reply) {
	seq, err := parseSeq(form.Get("seq"))
	if err != nil || seq == 0 {
		return "", nil, s.badEntry("record.bad.seq")
	}
	if tile == tileVoid {
		return "corrected", encoded(map[string]any{"seq": seq, "void": true}), nil
	}
	of := form.Get("kind")
	if tile == tileConfirm {
		of = "adjusted"
	}
	fields, known := fixable[of]
	if !known {
		return "", nil, s.badEntry("record.bad.kind")
	}
	values, refused := s.fields(form, fields, 1)
	if refused != nil {
		return "", nil, refused
	}
	if tile == tileConfirm {
		values["step"] = seq
		return of, encoded(values), nil
	}
	return "corrected", encoded(map[string]any{"seq": seq, "value": values}), nil
}

// fields reads the fields of a form; optional ones may be absent.
func (s *Server) fields(form url.Values, fields []entryField, sign float64) (map[string]any, *agent.Reply) {
	values := make(map[string]any)
	for _, f := range fields {
		given := strings.TrimSpace(form.Get(f.Name))
		switch {
		case given == "" && f.Optional:
		case f.Text && len(given) > packingMost:
			return nil, s.badEntry("record.bad.text", s.texts.say("field."+f.Name), packingMost)
		case f.Text:
			values[f.Name] = given
		default:
			n, err := strconv.ParseFloat(strings.Replace(given, ",", ".", 1), 64)
			if err != nil || !(n >= f.Least && n <= f.Most) {
				return nil, s.badEntry("record.bad.number", s.texts.say("field."+f.Name), short(f.Least), short(f.Most))
			}
			values[f.Name] = sign * n
		}
	}
	return values, nil
}

func encoded(values map[string]any) json.RawMessage {
	text, err := json.Marshal(values)
	if err != nil { // numbers and texts can be written
		return nil
	}
	return text
}
