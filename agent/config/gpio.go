package config

import (
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

// Defaults of a pin; common practice, no source: an open-collector sensor
// pulls the line low for a drop, and its contact bounces for a few
// milliseconds, that of a motor's starter for longer.
const (
	defaultEdge        = "falling"
	defaultPull        = "up"
	defaultDebounceBy  = "agent"
	defaultDebounce    = 3 * time.Millisecond
	defaultDebounceRun = 20 * time.Millisecond
	mostDebounce       = 100 * time.Millisecond // a longer one would hide drops
	maxPin             = 80
)

func (d *decoder) gpio(p reading.Point, e entry, also field) *GPIO {
	g := &GPIO{Edge: defaultEdge, Pull: defaultPull, Debounce: defaultDebounce, DebounceBy: defaultDebounceBy}
	if p.Kind == reading.Run {
		g.Debounce = defaultDebounceRun
	}
	seen := d.mapping(e, also,
		field{"pin", func(sub entry) { d.pin(&g.Pin, p, sub) }},
		field{"edge", d.choice(&g.Edge, "falling", "rising")},
		field{"pull", d.choice(&g.Pull, "up", "down", "none")},
		field{"debounce", d.duration(&g.Debounce, 0, mostDebounce, "3ms")},
		field{"debounce_by", d.choice(&g.DebounceBy, "agent", "kernel")},
	)
	d.required(e, seen, "pin", "add `pin:` such as GPIO17, as `gpioinfo` lists it")
	return g
}

func (d *decoder) pin(dst *string, p reading.Point, e entry) {
	const want = "a line such as GPIO17, or chip and number such as gpiochip0:17"
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
	d.claim("gpio "+strings.ToLower(*dst), *dst, p, e.path, e.at, "give each sensor a pin of its own")
}

// pinName makes the names of one pin the same: 17, gpio17 and GPIO17; and
// gpiochip0:17 with and without its folder.
func pinName(s string) string {
	number := strings.TrimPrefix(strings.ToUpper(s), "GPIO")
	if number != "" && strings.Trim(number, "0123456789") == "" {
		return "GPIO" + number
	}
	return strings.TrimPrefix(s, "/dev/")
}

// validPin takes what may be the name of a line: they are the board maker's and
// have all sorts of characters. A bare number has none but digits.
func validPin(s string) bool {
	if strings.Trim(s, "0123456789") == "" {
		return s == "0" || len(s) < 5 && !strings.HasPrefix(s, "0")
	}
	if chip, number, found := strings.Cut(strings.TrimPrefix(s, "/dev/"), ":"); found && strings.HasPrefix(chip, "gpiochip") {
		return numbered(number) != ""
	}
	return strings.TrimSpace(s) == s && !strings.HasPrefix(s, "-")
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
