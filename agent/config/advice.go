package config

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/advice"
)

// AdviceTemplate is the file of advice that weepd brings along, to be copied
// and changed.
//
//go:embed advice.yaml
var AdviceTemplate []byte

const (
	maxParagraph = 600
	maxSteps     = 20
	maxCautions  = 10
)

// DefaultAdvice gives the texts that weepd brings along.
func DefaultAdvice() (advice.Book, error) {
	texts, faults := ParseAdvice("advice.yaml", AdviceTemplate)
	if len(faults) > 0 {
		return advice.Book{}, faults
	}
	return advice.NewBook(texts, nil), nil
}

// Advice gives the texts of advice in force: those of the station's own file,
// and for what it leaves out those that weepd brings along. Its error is a
// Faults.
func (c *Config) Advice() (advice.Book, error) {
	if c.AdviceFile == "" {
		return DefaultAdvice()
	}
	data, fault := readBounded(c.AdviceFile)
	if fault != nil {
		return advice.Book{}, Faults{*fault}
	}
	own, faults := ParseAdvice(c.AdviceFile, data)
	if len(faults) > 0 {
		return advice.Book{}, faults
	}
	others, faults := ParseAdvice("advice.yaml", AdviceTemplate)
	if len(faults) > 0 {
		return advice.Book{}, faults
	}
	return advice.NewBook(own, others), nil
}

// ParseAdvice reads a file of advice; name stands for it in faults. The texts
// are nil if there is any fault.
func ParseAdvice(name string, data []byte) (map[string]advice.Text, Faults) {
	text, fault := checkText(name, data)
	if fault != nil {
		return nil, Faults{*fault}
	}
	tree, fault := parseTree(name, text)
	if fault != nil {
		return nil, Faults{*fault}
	}
	d := &decoder{file: name, starts: "`conditions:`, see `weepd advice --template`"}
	texts := make(map[string]advice.Text)
	if root, ok := d.root(tree); ok {
		seen := d.mapping(root, field{"conditions", func(e entry) { d.adviceTexts(texts, e) }})
		d.required(root, seen, "conditions", "add `conditions:` with a text for each condition that you change")
	}
	if len(d.faults) > 0 {
		return nil, d.faults.tidy()
	}
	return texts, nil
}

func (d *decoder) adviceTexts(texts map[string]advice.Text, e entry) {
	var fields []field
	for _, c := range advice.Conditions() {
		fields = append(fields, field{c, func(sub entry) {
			sub.path = c
			texts[c] = d.adviceText(sub)
		}})
	}
	e.path = "conditions"
	d.mapping(e, fields...)
}

func (d *decoder) adviceText(e entry) advice.Text {
	var t advice.Text
	seen := d.mapping(e,
		field{"summary", d.paragraph(&t.Summary)},
		field{"cautions", func(sub entry) { t.Cautions = d.paragraphs(sub, maxCautions) }},
		field{"steps", func(sub entry) { t.Steps = d.adviceSteps(sub) }},
	)
	d.required(e, seen, "summary", "add `summary:`, one or two sentences for a row of a list")
	d.required(e, seen, "steps", "add `steps:`, a list of `- do: ...` with `source: ...`")
	return t
}

func (d *decoder) adviceSteps(e entry) []advice.Step {
	var steps []advice.Step
	d.list(e, func(i int, item entry) {
		item.path = fmt.Sprintf("step %d of %s", i+1, strings.TrimSuffix(e.path, ".steps"))
		var s advice.Step
		seen := d.mapping(item,
			field{"do", d.paragraph(&s.Do)},
			field{"caution", d.paragraph(&s.Caution)},
			field{"source", d.paragraph(&s.Source)},
		)
		d.required(item, seen, "do", "add `do:`, what to do")
		d.required(item, seen, "source", "add `source:`, a document with its page, or `common practice, no source`")
		steps = append(steps, s)
	})
	d.counted(e, len(steps), maxSteps, "step")
	return steps
}

func (d *decoder) paragraphs(e entry, most int) []string {
	var list []string
	d.list(e, func(_ int, item entry) {
		var text string
		d.paragraph(&text)(item)
		list = append(list, text)
	})
	d.counted(e, len(list), most, "caution")
	return list
}

func (d *decoder) counted(e entry, n, most int, what string) {
	seq, isList := e.value.(*ast.SequenceNode)
	switch {
	case isList && len(seq.Values) == 0:
		d.fault(e.at, "add at least one, or remove the line", "%s is empty", e.path)
	case n > most:
		d.fault(e.at, fmt.Sprintf("want at most %d; nobody reads more beside a pump", most), "%s has %d %ss", e.path, n, what)
	}
}

// paragraph reads text that may be spread over lines, and refuses what must
// not be advised.
func (d *decoder) paragraph(dst *string) func(entry) {
	want := fmt.Sprintf("text of up to %d characters", maxParagraph)
	return func(e entry) {
		s, ok := d.str(e, want)
		if !ok {
			return
		}
		s = strings.Join(strings.Fields(s), " ")
		switch why := forbiddenAdvice(s); {
		case s == "":
			d.fault(e.at, "want "+want, "%s is empty", e.path)
		case utf8.RuneCountInString(s) > maxParagraph:
			d.fault(e.at, "want "+want, "%s is longer than %d characters", e.path, maxParagraph)
		case slices.ContainsFunc([]rune(s), func(r rune) bool { return !unicode.IsPrint(r) }):
			d.fault(e.at, "want "+want, "%s has characters that cannot be printed", e.path)
		case why != "":
			d.fault(e.at, "say it with the maker's instructions or the lock-out beside it, or leave it out; it can hurt people", "%s %s", e.path, why)
		default:
			*dst = s
		}
	}
}
