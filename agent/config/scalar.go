package config

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// bounds limits a number: from low to high, low itself excluded if open.
type bounds struct {
	low, high float64
	open      bool
	want      string // e.g. "a number above 0 and up to 10000"
}

// number reads a plain decimal number within bounds.
func (d *decoder) number(dst *float64, b bounds) func(entry) {
	return func(e entry) {
		text, ok := d.plain(e, b.want)
		if !ok {
			return
		}
		if special(text) {
			d.fault(e.at, "want "+b.want, "%s is %s, not a finite number", e.path, text)
			return
		}
		v, ok := parseNumber(text)
		if !ok {
			d.fault(e.at, "want "+b.want+numberHint(text), "%s is %s, not a plain decimal number", e.path, quoted(text))
			return
		}
		if v < b.low || v > b.high || b.open && v == b.low {
			d.fault(e.at, "want "+b.want, "%s is %s, out of range", e.path, excerpt(text))
			return
		}
		*dst = v
	}
}

// integer reads a whole number.
func (d *decoder) integer(dst *int64, want string) func(entry) {
	return func(e entry) {
		text, ok := d.plain(e, want)
		if !ok {
			return
		}
		v, err := strconv.ParseInt(text, 10, 64)
		if err != nil || !isNumber(text) {
			d.fault(e.at, "want "+want, "%s is %s, not a whole number", e.path, quoted(text))
			return
		}
		*dst = v
	}
}

// plain gives the text of an unquoted scalar as it stands in the file: YAML's
// own numbers have octal (010 = 8), hexadecimal and underscores, none of which
// a person means here.
func (d *decoder) plain(e entry, want string) (string, bool) {
	switch n := e.value.(type) {
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	case *ast.StringNode:
		if isQuoted(n) && isNumber(n.Value) {
			d.fault(e.at, "remove the quotes", "%s is the text %s, not a number", e.path, quoted(n.Value))
			return "", false
		}
		return n.Value, true
	}
	d.wrongType(e, want)
	return "", false
}

func isQuoted(n *ast.StringNode) bool {
	t := n.GetToken().Type
	return t == token.SingleQuoteType || t == token.DoubleQuoteType
}

func isNumber(s string) bool {
	_, ok := parseNumber(s)
	return ok
}

var (
	zeros    = regexp.MustCompile(`^[-+]?0[0-9]`)
	withUnit = regexp.MustCompile(`^[-+]?[0-9.]+ *[^-+0-9._]+$`)
)

// A leading zero is octal to some readers of YAML and decimal to others.
var decimal = regexp.MustCompile(`^[-+]?((0|[1-9][0-9]*)(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

func parseNumber(s string) (float64, bool) {
	if !decimal.MatchString(s) {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

func special(s string) bool {
	s = strings.ToLower(strings.TrimLeft(s, "+-"))
	return s == ".nan" || s == ".inf" || s == "nan" || s == "inf" || s == "infinity"
}

func numberHint(text string) string {
	switch {
	case strings.Contains(text, ","):
		return "; decimals are written with a point"
	case zeros.MatchString(text):
		return "; without leading zeros"
	case withUnit.MatchString(text):
		return "; the unit is in the key"
	}
	return ""
}

// duration reads a duration as 2m, 90s or 1m30s.
func (d *decoder) duration(dst *time.Duration, low, high time.Duration, example string) func(entry) {
	return func(e entry) {
		want := "want a duration from " + short(low) + " to " + short(high) + ", such as " + example
		text, ok := d.plain(e, want[len("want "):])
		if !ok {
			return
		}
		v, err := time.ParseDuration(text)
		switch {
		case isNumber(text) && text != "0":
			d.fault(e.at, want, "%s is %s without a unit", e.path, excerpt(text))
		case err != nil:
			d.fault(e.at, want, "%s is %s, not a duration", e.path, quoted(text))
		case v < low || v > high:
			d.fault(e.at, want, "%s is %s, out of range", e.path, excerpt(text))
		default:
			*dst = v
		}
	}
}

// short drops the zero parts that time.Duration prints: 2m0s is 2m.
func short(v time.Duration) string {
	s := v.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

// text reads one line of printable text; valid may say more of what is wanted.
func (d *decoder) text(dst *string, most int, want string, valid func(string) bool) func(entry) {
	return func(e entry) {
		s, ok := d.str(e, want)
		if !ok {
			return
		}
		switch {
		case s == "":
			d.fault(e.at, "want "+want, "%s is empty", e.path)
		case utf8.RuneCountInString(s) > most:
			d.fault(e.at, "want "+want, "%s is longer than %d characters", e.path, most)
		case strings.ContainsFunc(s, unprintable):
			d.fault(e.at, "want "+want, "%s %s has line breaks or characters that cannot be printed", e.path, quoted(s))
		case valid != nil && !valid(s):
			d.fault(e.at, "want "+want, "%s is %s", e.path, quoted(s))
		default:
			*dst = s
		}
	}
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }

func (d *decoder) str(e entry, want string) (string, bool) {
	switch n := e.value.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return n.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		d.fault(e.at, `put it in quotes: "`+excerpt(n.GetToken().Value)+`"`, "%s is %s, want text", e.path, describe(n))
		return "", false
	}
	d.wrongType(e, want)
	return "", false
}

// choice reads one of a few words.
func (d *decoder) choice(dst *string, options ...string) func(entry) {
	return func(e entry) {
		want := words(options)
		s, ok := d.str(e, want)
		if !ok {
			return
		}
		for _, o := range options {
			if s == o {
				*dst = s
				return
			}
		}
		do := "want " + want
		if near, found := nearest(s, options); found {
			do = "did you mean " + near + "? " + do
		}
		d.fault(e.at, do, "%s is %s", e.path, quoted(s))
	}
}
