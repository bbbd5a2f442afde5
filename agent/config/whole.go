package config

import (
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// whole reads a whole number from low to high.
func (d *decoder) whole(dst *int, low, high int64, want string) func(entry) {
	return func(e entry) {
		n, before := int64(0), len(d.faults)
		d.integer(&n, want)(e)
		switch {
		case len(d.faults) > before:
		case n < low || n > high:
			d.fault(e.at, "want "+want, "%s is %d, out of range", e.path, n)
		default:
			*dst = int(n)
		}
	}
}

// oneOf reads one of a few whole numbers.
func (d *decoder) oneOf(dst *int, options ...int) func(entry) {
	list := make([]string, len(options))
	for i, o := range options {
		list[i] = strconv.Itoa(o)
	}
	want := words(list)
	return func(e entry) {
		n, before := int64(0), len(d.faults)
		d.integer(&n, want)(e)
		switch {
		case len(d.faults) > before:
		case !slices.Contains(list, strconv.FormatInt(n, 10)):
			d.fault(e.at, "want "+want, "%s is %d", e.path, n)
		default:
			*dst = int(n)
		}
	}
}

// numbers reads a list of numbers.
func (d *decoder) numbers(dst *[]float64, b bounds) func(entry) {
	return func(e entry) {
		d.list(e, func(_ int, item entry) {
			var n float64
			d.number(&n, b)(item)
			*dst = append(*dst, n)
		})
	}
}

const maxWord = 80

// word reads a name that looks like a number to YAML, such as 0.0 or 0x48, as
// it stands in the file, quoted or not. meant gives what it stands for, empty
// if it is not understood.
func (d *decoder) word(dst *string, want string, meant func(string) string) func(entry) {
	return func(e entry) {
		text := ""
		switch n := e.value.(type) {
		case *ast.IntegerNode, *ast.FloatNode:
			text = n.GetToken().Value
		default:
			d.text(&text, maxWord, want, nil)(e)
		}
		if text == "" {
			return
		}
		if *dst = meant(text); *dst == "" {
			d.fault(e.at, "want "+want, "%s is %s", e.path, quoted(text))
		}
	}
}

// numbered gives the number of a bus written as such or with one of the
// prefixes, empty if it is none.
func numbered(s string, prefixes ...string) string {
	for _, prefix := range prefixes {
		s = strings.TrimPrefix(s, prefix)
	}
	n, err := strconv.ParseUint(s, 10, 16)
	if err != nil || strconv.FormatUint(n, 10) != s {
		return ""
	}
	return s
}
