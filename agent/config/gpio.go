package config

import (
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

// Defaults of a pin; common practice, no source: an open-collector sensor
// pulls the line low for a drop, and drops fall at most some ten a second.
const (
	defaultEdge     = "falling"
	defaultPull     = "up"
	defaultDebounce = 5 * time.Millisecond
	maxPin          = 32
)

// pinUse is the point that uses a pin.
type pinUse struct {
	point reading.Point
	line  int
}

func (d *decoder) gpio(p reading.Point, e entry, also field) *GPIO {
	g := &GPIO{Edge: defaultEdge, Pull: defaultPull, Debounce: defaultDebounce}
	seen := d.mapping(e, also,
		field{"pin", func(sub entry) { d.pin(&g.Pin, p, sub) }},
		field{"edge", d.choice(&g.Edge, "falling", "rising")},
		field{"pull", d.choice(&g.Pull, "up", "down", "none")},
		field{"debounce", d.duration(&g.Debounce, 0, time.Second, "5ms")},
	)
	d.required(e, seen, "pin", "add `pin:` such as GPIO17")
	return g
}

func (d *decoder) pin(dst *string, p reading.Point, e entry) {
	const want = "a pin such as GPIO17"
	text := ""
	if n, ok := e.value.(*ast.IntegerNode); ok {
		text = n.GetToken().Value // 17 needs no quotes
		if !validPin(text) {
			d.fault(e.at, "want "+want, "%s is %s", e.path, excerpt(text))
			return
		}
	} else {
		d.text(&text, maxPin, want, validPin)(e)
	}
	if text == "" {
		return
	}
	*dst = pinName(text)
	if first, used := d.pins[*dst]; used {
		d.fault(e.at, "give each sensor a pin of its own", "%s of gland %s is %s, which line %d uses for %s", e.path, p.Gland, *dst, first.line, first.point)
		return
	}
	d.pins[*dst] = pinUse{p, e.at.line}
}

// pinName makes the names of one pin the same: 17, gpio17 and GPIO17.
func pinName(s string) string {
	s = strings.ToUpper(s)
	if strings.Trim(s, "0123456789") == "" {
		return "GPIO" + s
	}
	return s
}

func validPin(s string) bool {
	if strings.Trim(s, "0123456789") == "" {
		return s == "0" || len(s) < 5 && !strings.HasPrefix(s, "0")
	}
	first := s[0] | 0x20
	return first >= 'a' && first <= 'z' && onlyWith(s, "_-")
}

// onlyWith reports whether s has only ASCII letters, digits and those in also.
func onlyWith(s, also string) bool {
	for _, r := range s {
		alnum := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
		if !alnum && !strings.ContainsRune(also, r) {
			return false
		}
	}
	return true
}
