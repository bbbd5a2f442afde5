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

// voided takes an entry back; it is made from the list of entries.
const voided = "void"

// packingMost is the longest name of a packing, in bytes.
const packingMost = 100

// recorded makes kind and value of a record of a form.
func (s *Server) recorded(form url.Values) (kind string, value json.RawMessage, refused *agent.Reply) {
	refuse := func(key string, fill ...any) *agent.Reply {
		r := agent.Refuse(agent.ReasonMalformed, "%s", s.texts.say(key, fill...))
		return &r
	}
	tile := form.Get("tile")
	if tile == voided {
		seq, err := parseSeq(form.Get("seq"))
		if err != nil || seq == 0 {
			return "", nil, refuse("record.bad.seq")
		}
		return "corrected", encoded(map[string]any{"seq": seq, "void": true}), nil
	}
	for _, k := range entryKinds {
		if k.Tile != tile {
			continue
		}
		values := make(map[string]any)
		for _, f := range k.Fields {
			given := strings.TrimSpace(form.Get(f.Name))
			switch {
			case given == "" && f.Optional:
			case f.Text && len(given) > packingMost:
				return "", nil, refuse("record.bad.text", s.texts.say("field."+f.Name), packingMost)
			case f.Text:
				values[f.Name] = given
			default:
				n, err := strconv.ParseFloat(strings.Replace(given, ",", ".", 1), 64)
				if err != nil || !(n >= f.Least && n <= f.Most) {
					return "", nil, refuse("record.bad.number", s.texts.say("field."+f.Name), short(f.Least), short(f.Most))
				}
				values[f.Name] = k.Sign * n
			}
		}
		if len(values) == 0 {
			return k.Kind, nil, nil
		}
		return k.Kind, encoded(values), nil
	}
	return "", nil, refuse("record.bad.kind")
}

func encoded(values map[string]any) json.RawMessage {
	text, err := json.Marshal(values)
	if err != nil { // numbers and texts can be written
		return nil
	}
	return text
}
