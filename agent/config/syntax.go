package config

import (
	"errors"
	"fmt"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

const (
	maxDepth  = 32      // levels of nesting; the configuration has 5
	maxTokens = 100_000 // words and marks of YAML, some 1,600 glands: the parser is quadratic on some of them
)

// parseTree gives the syntax tree, or the first fault of syntax: after one
// nothing that follows can be trusted.
func parseTree(name, text string) (file *ast.File, fault *Fault) {
	// The parser is not ours: what it may do on junk must not end the agent.
	defer func() {
		if cause := recover(); cause != nil {
			file, fault = nil, &Fault{name, 1, 1, fmt.Sprintf("not understood as YAML (%v)", cause),
				"check that this is the right file; `weepd check` on parts of it finds the place"}
		}
	}()
	tokens := lexer.Tokenize(text)
	if fault := checkTokens(name, tokens); fault != nil {
		return nil, fault
	}
	// Duplicate keys are found by our own walk, so that they hide nothing.
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, syntaxFault(name, err)
	}
	return file, nil
}

// checkTokens bounds the parser's recursion: a stack that overflows cannot be
// recovered from.
func checkTokens(name string, tokens token.Tokens) *Fault {
	if len(tokens) > maxTokens {
		return &Fault{name, 1, 1, fmt.Sprintf("more than %d words and marks", maxTokens), "check that this is the right file"}
	}
	flow, run, line := 0, 0, 0
	for _, t := range tokens {
		switch t.Type {
		case token.MappingStartType, token.SequenceStartType:
			flow++
		case token.MappingEndType, token.SequenceEndType:
			flow = max(0, flow-1)
		case token.SequenceEntryType, token.MappingKeyType, token.TagType, token.AnchorType:
			if t.Position.Line != line && t.Type == token.SequenceEntryType {
				run = 0 // an empty item of a list, not a list in a list
			}
			run++
		default:
			run = 0
		}
		line = t.Position.Line
		indents := (t.Position.Column - 1) / 2
		if flow+run > maxDepth || indents > maxDepth && flow == 0 && startsLine(t) {
			return &Fault{name, t.Position.Line, t.Position.Column,
				fmt.Sprintf("nested more than %d levels deep", maxDepth), "the configuration needs 5: check the indentation"}
		}
	}
	return nil
}

func startsLine(t *token.Token) bool {
	return t.Prev == nil || t.Prev.Position.Line != t.Position.Line
}

func syntaxFault(name string, err error) *Fault {
	fault := &Fault{name, 1, 1, "YAML syntax: " + err.Error(), "correct it"}
	syntaxErr, ok := errors.AsType[*yaml.SyntaxError](err)
	if !ok {
		return fault
	}
	fault.What = "YAML syntax: " + oneLine(syntaxErr.Message)
	if at := syntaxErr.Token; at != nil && at.Position != nil {
		fault.Line, fault.Column = at.Position.Line, at.Position.Column
	}
	fault.Do = syntaxAdvice(syntaxErr.Message)
	return fault
}

// oneLine spells out the control characters that the parser's messages quote.
func oneLine(s string) string {
	return strings.NewReplacer("'\t'", "tab", "\t", " ", "\n", " ").Replace(s)
}

func syntaxAdvice(message string) string {
	switch {
	case strings.Contains(message, "\t"):
		return "indent with spaces, not tabs"
	case strings.Contains(message, "end character"):
		return "close the quotes"
	case strings.Contains(message, "must be specified") || strings.Contains(message, "not found"):
		return "close the bracket or brace that was opened before"
	case strings.Contains(message, "mapping value is not allowed"):
		return "write one `key: value` a line; a value with a colon needs quotes"
	default:
		return "check indentation (spaces, equal within a block) and `key: value` here and in the line above"
	}
}
