package config

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// place is where something stands in the file; the zero place is nowhere.
type place struct{ line, column int }

// decoder walks the syntax tree and collects faults, so that one never hides
// the next.
type decoder struct {
	file        string
	starts      string // what a file of this kind starts with
	faults      Faults
	warnings    []Warning
	lines       map[string]int                // of every key, by scope and path
	scope       string                        // which of several alike is being read, e.g. glands[2].
	connections map[string]place              // of modbus, by id
	walked      func(e entry, fields []field) // told of each mapping; nil but in tests
	wiring
}

func (d *decoder) fault(at place, do, what string, args ...any) {
	if at == (place{}) {
		at = place{1, 1}
	}
	d.faults = append(d.faults, Fault{d.file, at.line, at.column, fmt.Sprintf(what, args...), do})
}

// field is one key that a mapping may have and what reads its value.
type field struct {
	key  string
	read func(entry)
}

// entry is one value with its key's and its own place.
type entry struct {
	path  string // for people, e.g. limits.dry_dpm
	key   place
	at    place
	value ast.Node
}

// placed says where the keys of a mapping stand.
type placed map[string]place

// mapping reads a mapping by its fields and says which keys it had; nil if it
// is no mapping.
func (d *decoder) mapping(e entry, fields ...field) placed {
	pairs, ok := d.pairs(e)
	if !ok {
		return nil
	}
	if d.walked != nil {
		d.walked(e, fields)
	}
	seen := placed{}
	for _, pair := range pairs {
		d.pair(e, pair, fields, seen)
	}
	return seen
}

// required says that a key must be there, if its mapping is one at all.
func (d *decoder) required(e entry, seen placed, key, do string) {
	if seen != nil && !has(seen, key) {
		d.fault(e.at, do, "%s is missing", join(e.path, key))
	}
}

func (d *decoder) pair(parent entry, pair *ast.MappingValueNode, fields []field, seen placed) {
	at := placeOf(pair.Key)
	name, ok := d.keyText(pair.Key, at)
	if !ok {
		return
	}
	if first, twice := seen[name]; twice {
		d.fault(at, fmt.Sprintf("keep one of them (the first is in line %d)", first.line), "key %s given twice", quoted(name))
		return
	}
	seen[name] = at
	if d.lines != nil {
		d.lines[d.scope+join(parent.path, name)] = at.line
	}
	for _, f := range fields {
		if f.key == name {
			d.present(entry{join(parent.path, name), at, place{}, pair.Value}, f.read)
			return
		}
	}
	what := "unknown key " + quoted(name)
	if parent.path != "" {
		what += " in " + parent.path
	}
	d.fault(at, keyAdvice(name, fields), "%s", what)
}

// present strips what only dresses the value and reads it, if there is one.
func (d *decoder) present(e entry, read func(entry)) {
	node, ok := d.bare(e.value)
	if !ok {
		return
	}
	if node == nil || node.Type() == ast.NullType {
		d.fault(e.key, "give it one, or remove the line", "%s has no value", e.path)
		return
	}
	e.value, e.at = node, placeOf(node)
	read(e)
}

// bare refuses anchors, aliases and tags: they save no typing in a file this
// small and let a few bytes stand for gigabytes.
func (d *decoder) bare(node ast.Node) (ast.Node, bool) {
	for {
		switch n := node.(type) {
		case *ast.AnchorNode:
			d.fault(tokenPlace(n.Start), "write the values out where they are needed", "anchor (&) is not supported")
			node = n.Value
		case *ast.TagNode:
			d.fault(tokenPlace(n.Start), "remove it", "tag %s is not supported", quoted(n.Start.Value))
			node = n.Value
		case *ast.AliasNode:
			d.fault(tokenPlace(n.Start), "write the values out here", "alias (*) is not supported")
			return nil, false
		default:
			return node, true
		}
	}
}

func (d *decoder) pairs(e entry) ([]*ast.MappingValueNode, bool) {
	switch n := e.value.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	d.wrongType(e, "a block of `key: value` lines")
	return nil, false
}

// list reads each item of a list.
func (d *decoder) list(e entry, read func(i int, item entry)) {
	seq, ok := e.value.(*ast.SequenceNode)
	if !ok {
		d.wrongType(e, "a list, each item starting with `- `")
		return
	}
	for i, node := range seq.Values {
		at := e.at
		if i < len(seq.Entries) && seq.Entries[i] != nil {
			at = tokenPlace(seq.Entries[i].Start)
		}
		d.present(entry{fmt.Sprintf("item %d of %s", i+1, e.path), at, at, node}, func(item entry) { read(i, item) })
	}
}

func (d *decoder) keyText(key ast.MapKeyNode, at place) (string, bool) {
	switch k := key.(type) {
	case *ast.StringNode:
		return k.Value, true
	case *ast.MergeKeyNode:
		d.fault(at, "write the values out here", "merge key (<<) is not supported")
	case *ast.MappingKeyNode:
		d.fault(at, "write `key: value`", "complex key (?) is not supported")
	default:
		if t := key.GetToken(); t != nil {
			return t.Value, true
		}
		d.fault(at, "write `key: value`", "not understood as a key")
	}
	return "", false
}

func (d *decoder) wrongType(e entry, want string) {
	d.fault(e.at, "want "+want, "%s is %s", e.path, describe(e.value))
}

func describe(node ast.Node) string {
	switch n := node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a block of keys"
	case *ast.SequenceNode:
		return "a list"
	case *ast.BoolNode:
		return "the truth value " + excerpt(n.GetToken().Value)
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		return "the number " + excerpt(n.GetToken().Value)
	case *ast.StringNode:
		return "the text " + quoted(n.Value)
	case *ast.LiteralNode:
		return "a block of text"
	}
	return "something else"
}

// placeOf gives where a node starts.
func placeOf(node ast.Node) place {
	switch n := node.(type) {
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return placeOf(n.Values[0].Key)
		}
	case *ast.MappingValueNode:
		return placeOf(n.Key)
	}
	if node == nil {
		return place{}
	}
	return tokenPlace(node.GetToken())
}

func tokenPlace(t *token.Token) place {
	if t == nil || t.Position == nil {
		return place{}
	}
	return place{t.Position.Line, t.Position.Column}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

const maxExcerpt = 40

// excerpt cuts a text to a length that fits a message.
func excerpt(s string) string {
	runes := []rune(s)
	if len(runes) <= maxExcerpt {
		return s
	}
	return string(runes[:maxExcerpt]) + "..."
}

func quoted(s string) string { return fmt.Sprintf("%q", excerpt(s)) }

// words gives "a, b or c".
func words(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1]
}
