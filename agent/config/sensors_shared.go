package config

import (
	"slices"

	"weepd/rules/reading"
)

// sharing is a point that has its readings from another's sensor: the contact
// of the shaft that two glands are on, or the reference of many glands.
type sharing struct {
	own, of reading.Point
	e       entry
	seen    placed
}

// shared reads whose sensor a point shares. The source itself is found when all
// glands are known.
func (d *decoder) shared(p reading.Point, e entry, also field) {
	var of reading.Point
	seen := d.mapping(e, also, field{"point", func(sub entry) { d.recordedPoint(&of, p.Kind, sub) }})
	d.required(e, seen, "point", "add `point:` such as p1-de."+p.Kind.String()+", which has the sensor")
	if of != (reading.Point{}) && slices.Contains(serves(p.Kind), sourceShared) {
		d.sharings = append(d.sharings, sharing{p, of, e, seen})
	}
}

// shareSources gives points the sources of others: the same *Source.
func (d *decoder) shareSources(glands []Gland) {
	byID := map[string]*Gland{}
	var ids []string
	for i := range glands {
		if g := &glands[i]; byID[g.ID] == nil {
			byID[g.ID] = g
			ids = append(ids, g.ID)
		}
	}
	shares := map[reading.Point]bool{}
	for _, s := range d.sharings {
		shares[s.own] = true
	}
	for _, s := range d.sharings {
		at, kind := s.seen["point"], s.own.Kind
		g := byID[s.of.Gland]
		switch {
		case g == nil:
			do := "want a ." + kind.String() + " of " + words(ids)
			if near, found := nearest(s.of.Gland, ids); found {
				do = "did you mean " + near + "." + kind.String() + "?"
			}
			d.fault(at, do, "%s.point is %s, but there is no gland %s", s.e.path, s.of, s.of.Gland)
		case s.of == s.own || shares[s.of]:
			d.fault(at, "name the point that has the sensor itself", "%s.point is %s, which has no sensor of its own", s.e.path, s.of)
		case g.Sensors[kind] == nil:
			d.fault(at, "give "+s.of.String()+" its sensor", "%s.point is %s, which has no sensor", s.e.path, s.of)
		default:
			if own := byID[s.own.Gland]; own != nil {
				own.Sensors[kind], own.shares[kind] = g.Sensors[kind], true
			}
		}
	}
}
