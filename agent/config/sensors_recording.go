package config

import (
	"fmt"

	"weepd/rules/reading"
)

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
