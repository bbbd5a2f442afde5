package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules"
)

// Alarms says how alarms live.
type Alarms struct {
	// LongestShelf is the longest that an alarm may be shelved for; 0: not at
	// all.
	LongestShelf time.Duration
	// Latched are conditions whose alarms stay, once raised, until a person
	// resets them.
	Latched []string
	// Settle is how long, beside a gland's own delays, the rules may take
	// after a start to find again what was active before it.
	Settle time.Duration

	origins map[string]string
}

// Defaults of alarms; choices of ours. A shift is 8 h, a day leaves room for
// the handover; the detector finds a weep that stops within minutes.
const (
	defaultLongestShelf = 24 * time.Hour
	mostLongestShelf    = 90 * 24 * time.Hour
	defaultSettle       = 10 * time.Minute
	mostSettle          = 24 * time.Hour
)

func (d *decoder) alarms(a *Alarms, e entry) {
	set := d.mapping(e,
		field{"longest_shelf", d.duration(&a.LongestShelf, 0, mostLongestShelf, "24h")},
		field{"latched", func(sub entry) { a.Latched = d.conditions(sub) }},
		field{"settle", d.duration(&a.Settle, time.Second, mostSettle, "10m")},
	)
	a.origins = make(map[string]string)
	for key, at := range set {
		a.origins[key] = fmt.Sprintf("line %d", at.line)
	}
}

// conditions reads a list of conditions, each once.
func (d *decoder) conditions(e entry) []string {
	var options, given []string
	for c := range rules.Conditions {
		options = append(options, c.String())
	}
	if seq, ok := e.value.(*ast.SequenceNode); ok && len(seq.Values) == 0 {
		return nil
	}
	d.list(e, func(_ int, item entry) {
		var word string
		d.choice(&word, options...)(item)
		if word != "" && slices.Contains(given, word) {
			d.fault(item.at, "keep one of them", "%s is %q a second time", item.path, word)
			return
		}
		if word != "" {
			given = append(given, word)
		}
	})
	return given
}

// Settings lists what is in force for the alarms of the station, for people.
func (a Alarms) Settings() []Setting {
	shelf := short(a.LongestShelf)
	if a.LongestShelf == 0 {
		shelf = "shelving is not allowed"
	}
	latched := "none"
	if len(a.Latched) > 0 {
		latched = strings.Join(a.Latched, ", ")
	}
	from := func(key string) string {
		return cmp.Or(a.origins[key], "default: a choice of ours")
	}
	return []Setting{
		{"alarms.longest_shelf", shelf, from("longest_shelf")},
		{"alarms.latched", latched, from("latched")},
		{"alarms.settle", short(a.Settle) + " and the gland's own delays", from("settle")},
	}
}
