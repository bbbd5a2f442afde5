package config

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

// The words of sources in the file.
const (
	sourceGPIO      = "gpio"
	sourceFile      = "file"
	sourceRecording = "recording"
	sourceSimulated = "simulated"
)

// serves lists which sources can give which kind of point: a pin counts drops
// or tells turning from rest, a file holds a number that is there at any time.
func serves(k reading.Kind) []string {
	switch k {
	case reading.Drip:
		return []string{sourceGPIO, sourceRecording, sourceSimulated}
	case reading.Run:
		return []string{sourceGPIO, sourceFile, sourceRecording, sourceSimulated}
	default:
		return []string{sourceFile, sourceRecording, sourceSimulated}
	}
}

func sourceNames() []string {
	return []string{sourceGPIO, sourceFile, sourceRecording, sourceSimulated}
}

// sensors reads the sources of a gland.
func (d *decoder) sensors(g *Gland, e entry) {
	e.path = "sensors"
	var simulated simulation
	var fields []field
	for kind := range reading.Kinds {
		fields = append(fields, field{kind.String(), func(sub entry) {
			g.Sensors[kind] = d.source(reading.Point{Gland: g.ID, Kind: kind}, sub, &simulated)
		}})
	}
	seen := d.mapping(e, fields...)
	if m, ok := e.value.(*ast.MappingNode); ok && len(m.Values) == 0 {
		d.fault(e.at, "fit drip, temp, ref or run, or remove the line", "sensors is empty")
	}
	for key, at := range seen {
		g.origins["sensors."+key] = fmt.Sprintf("line %d", at.line)
	}
}

// source reads one source. Which keys it may have depends on its kind, so
// that is looked up first.
func (d *decoder) source(p reading.Point, e entry, sim *simulation) *Source {
	name := d.sourceName(p.Kind, e)
	ignore := field{"source", func(entry) {}}
	switch name {
	case "":
		d.anySource(e, ignore)
		return nil
	case sourceGPIO:
		return &Source{GPIO: d.gpio(p, e, ignore)}
	case sourceFile:
		return &Source{File: d.readFile(e, ignore)}
	case sourceRecording:
		return &Source{Recording: d.recording(p, e, ignore)}
	default:
		return &Source{Simulated: d.simulated(e, sim, ignore)}
	}
}

// anySource checks the keys alone where it is not known whose they are.
func (d *decoder) anySource(e entry, also field) {
	if _, ok := e.value.(*ast.MappingNode); !ok {
		return
	}
	fields := []field{also}
	for _, key := range []string{
		"pin", "edge", "pull", "debounce", "path", "scale", "offset", "every", "timeout",
		"speed", "point", "dpm", "shape", "seed",
	} {
		fields = append(fields, field{key, func(entry) {}})
	}
	d.mapping(e, fields...)
}

// sourceName gives the word after `source:`, empty if there is no such source.
func (d *decoder) sourceName(kind reading.Kind, e entry) string {
	pairs, ok := d.pairs(e)
	if !ok {
		return ""
	}
	for _, pair := range pairs {
		t := pair.Key.GetToken()
		if t == nil || t.Value != "source" {
			continue
		}
		var name string
		d.present(entry{e.path + ".source", tokenPlace(t), place{}, pair.Value}, func(word entry) {
			if d.text(&name, maxName, words(serves(kind)), nil)(word); name != "" && !slices.Contains(sourceNames(), name) {
				d.choice(&name, serves(kind)...)(word)
				name = ""
			}
		})
		if name != "" && !slices.Contains(serves(kind), name) {
			d.fault(placeOf(pair.Value), "want "+words(serves(kind)), "%s: source %s cannot give %s", e.path, name, kind)
		}
		return name
	}
	d.fault(e.at, "add `source:` "+words(serves(kind)), "%s.source is missing", e.path)
	return ""
}

func (d *decoder) readFile(e entry, also field) *File {
	f := &File{Scale: 1, Every: defaultEvery, Timeout: defaultTimeout}
	seen := d.mapping(e, also,
		field{"path", d.path(&f.Path)},
		field{"scale", func(sub entry) {
			d.number(&f.Scale, bounds{-1e9, 1e9, false, "a factor other than 0"})(sub)
			if f.Scale == 0 {
				d.fault(sub.at, "want a factor other than 0, e.g. 0.001 for thousandths of a degree", "%s is 0", sub.path)
			}
		}},
		field{"offset", d.number(&f.Offset, bounds{-1e9, 1e9, false, "a number"})},
		field{"every", d.duration(&f.Every, 100*time.Millisecond, 30*time.Second, "10s")},
		field{"timeout", d.duration(&f.Timeout, 10*time.Millisecond, 30*time.Second, "2s")},
	)
	d.required(e, seen, "path", "add `path:` of the file to read")
	if _, given := seen["timeout"]; !given {
		f.Timeout = min(f.Timeout, f.Every)
	}
	if f.Timeout > f.Every {
		d.fault(seen["timeout"], "lower it, or raise every", "%s.timeout %s is longer than every %s", e.path, short(f.Timeout), short(f.Every))
	}
	return f
}

const (
	// Common practice, no source: metal of a gland warms over minutes.
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second
)

const maxPath = 1024

// path reads the name of a file; a relative one starts at the configuration.
func (d *decoder) path(dst *string) func(entry) {
	return func(e entry) {
		d.text(dst, maxPath, "the path of a file", func(s string) bool { return !strings.HasSuffix(s, "/") })(e)
		if *dst != "" && !filepath.IsAbs(*dst) {
			*dst = filepath.Join(filepath.Dir(d.file), *dst)
		}
	}
}

// play is how the file uses one recording.
type play struct {
	speed float64
	line  int
}

func (d *decoder) recording(p reading.Point, e entry, also field) *Recording {
	r := &Recording{Speed: 1, Point: p}
	seen := d.mapping(e, also,
		field{"path", d.path(&r.Path)},
		field{"speed", d.number(&r.Speed, bounds{0, 100_000, true, "a factor above 0 and at most 100000"})},
		field{"point", func(sub entry) { d.recordedPoint(&r.Point, p.Kind, sub) }},
	)
	d.required(e, seen, "path", "add `path:` of the recording")
	if r.Path == "" {
		return r
	}
	if first, used := d.plays[r.Path]; used && first.speed != r.Speed {
		at, given := seen["speed"]
		if !given {
			at = e.at
		}
		d.fault(at, "give all points from one recording the same speed",
			"%s plays %s at speed %g, line %d at %g", e.path, quoted(r.Path), r.Speed, first.line, first.speed)
	} else if !used {
		d.plays[r.Path] = play{r.Speed, e.at.line}
	}
	return r
}

func (d *decoder) recordedPoint(dst *reading.Point, kind reading.Kind, e entry) {
	var s string
	d.text(&s, 64, "a point such as p1-de."+kind.String(), nil)(e)
	if s == "" {
		return
	}
	p, err := reading.ParsePoint(s)
	switch {
	case err != nil:
		d.fault(e.at, "want a point such as p1-de."+kind.String(), "%s is %s", e.path, quoted(s))
	case p.Kind != kind:
		d.fault(e.at, fmt.Sprintf("want a .%s point here", kind), "%s is the %s point %s", e.path, p.Kind, s)
	default:
		*dst = p
	}
}
