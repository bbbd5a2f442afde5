// Package advice has the texts that say what to do about a condition: steps in
// order, each with its caution, and the source of the practice beside it. The
// texts come from a file that a station may replace (agent/config, which refuses
// what must never be advised); the standing cautions go with every text whatever
// the file says.
package advice

import (
	"slices"
)

// Text is what to do about one condition.
type Text struct {
	Condition string `json:"condition"`
	Summary   string `json:"summary"` // one or two sentences for a row of a list
	Steps     []Step `json:"steps"`   // in order
	// Cautions come before the steps: the text's own, then the standing ones.
	Cautions []string `json:"cautions"`
}

// Step is one thing to do.
type Step struct {
	Do      string `json:"do"`
	Caution string `json:"caution,omitempty"` // that belongs to this step
	Source  string `json:"source"`            // of the practice
}

// Book has a text for every condition.
type Book struct{ texts map[string]Text }

// Conditions lists what a text may be written for: the conditions of the rules.
func Conditions() []string {
	return []string{
		"burning", "dry", "gushing", "leaking", "adjustment-ineffective", "temp-sensor", "drip-sensor", "repack-due",
	}
}

// Standing gives the cautions that no file can take away.
func Standing() []string {
	return []string{
		"Before any work follow the pump maker's instructions, the lock-out rules and the local codes; leave licensed work to those licensed for it.",
		"Never work on a turning shaft without its guards, and keep hands and sleeves away from it. Water may be hot and under pressure.",
		"Never slack back a hot gland on a running pump unless the pump maker's instructions say so.",
	}
}

// NewBook takes own texts and fills in from others what they lack. A text of
// own replaces the other whole.
func NewBook(own, others map[string]Text) Book {
	b := Book{texts: make(map[string]Text)}
	for _, c := range Conditions() {
		text, found := own[c]
		if !found {
			text = others[c]
		}
		text.Condition = c
		b.texts[c] = text
	}
	return b
}

// For gives the text for a condition with its cautions; for a condition that it
// does not know, a text that sends to the maker's instructions.
func (b Book) For(condition string) Text {
	text, found := b.texts[condition]
	if !found {
		text = Text{Condition: condition, Summary: "See the pump maker's instructions."}
	}
	text.Steps = slices.Clone(text.Steps)
	text.Cautions = append(slices.Clone(text.Cautions), Standing()...)
	return text
}

// Lines gives a text as plain lines for a list: the steps, each with its own
// caution, and the cautions that come before them.
func (b Book) Lines(condition string) (steps, cautions []string) {
	text := b.For(condition)
	for _, s := range text.Steps {
		line := s.Do
		if s.Caution != "" {
			line += " CAUTION: " + s.Caution
		}
		steps = append(steps, line)
	}
	if len(steps) == 0 {
		steps = []string{text.Summary}
	}
	return steps, text.Cautions
}
