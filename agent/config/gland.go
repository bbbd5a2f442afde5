package config

import (
	"fmt"
	"maps"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

const (
	maxName  = 80
	maxDelay = time.Hour
	maxRunIn = 30 * 24 * time.Hour
)

// Bounds of the settings: wide enough for any gland, narrow enough to catch a
// slip of the keyboard.
func dpmBounds() bounds {
	return bounds{0, 10_000, true, "drops per minute, above 0 and at most 10000"}
}

// dropBounds: published volumes run from 0.05 mL (20 drops a millilitre, the
// pharmacopoeia's, from memory) to a third of a millilitre (USGS).
func dropBounds() bounds {
	return bounds{0.005, 1, false, "millilitres a drop, from 0.005 to 1"}
}
func riseBounds() bounds {
	return bounds{0, 500, true, "a rise in °C, above 0 and at most 500"}
}
func budgetBounds() bounds {
	return bounds{0.001, 1000, false, "false alarms a year, from 0.001 to 1000"}
}
func deadbandBounds() bounds {
	return bounds{0, 50, false, "percent of the limit, from 0 to 50"}
}

func (d *decoder) glands(e entry) []Gland {
	var glands []Gland
	ids := map[string]place{}
	d.list(e, func(i int, item entry) {
		item.path = "gland"
		d.scope = fmt.Sprintf("glands[%d].", i)
		g, idAt := d.gland(item)
		g.line = d.lineIn(d.scope)
		d.scope = ""
		if first, twice := ids[g.ID]; twice && g.ID != "" {
			d.fault(idAt, "give each gland an id of its own", "gland id %q is used twice (first in line %d)", g.ID, first.line)
		}
		if _, known := ids[g.ID]; !known {
			ids[g.ID] = idAt
		}
		glands = append(glands, g)
	})
	if seq, ok := e.value.(*ast.SequenceNode); ok && len(seq.Values) == 0 {
		d.fault(e.at, "add at least one gland, `- id: NAME`", "glands is empty")
	}
	return glands
}

func (d *decoder) gland(e entry) (Gland, place) {
	var g Gland
	var idAt place
	set := placed{} // every key that was given, by its path
	given := func(name string, keys placed) {
		for key, at := range keys {
			set[name+"."+key] = at
		}
	}
	under := func(name string, fields ...field) field {
		return field{name, func(sub entry) {
			sub.path = name
			given(name, d.mapping(sub, fields...))
		}}
	}
	var fibre string
	var sensors entry
	top := d.mapping(e,
		field{"id", func(id entry) {
			idAt = id.at
			d.text(&g.ID, reading.MaxGlandID, idWant, reading.ValidGlandID)(id)
		}},
		field{"name", d.text(&g.Name, maxName, fmt.Sprintf("one line of up to %d characters", maxName), nil)},
		field{"normal_dpm", d.number(&g.NormalDPM, dpmBounds())},
		field{"drop_ml", d.number(&g.DropML, dropBounds())},
		field{"packing", func(sub entry) {
			sub.path = "packing"
			given(sub.path, d.packing(&fibre, &g.Packing, sub))
		}},
		field{"stuffing_box", func(sub entry) {
			sub.path = "stuffing_box"
			given(sub.path, d.stuffingBox(&g.StuffingBox, sub))
		}},
		under("limits",
			field{"dry_dpm", d.number(&g.Limits.DryDPM, dpmBounds())},
			field{"leak_dpm", d.number(&g.Limits.LeakDPM, dpmBounds())},
			field{"gush_dpm", d.number(&g.Limits.GushDPM, dpmBounds())},
			field{"rise_c", d.number(&g.Limits.RiseC, riseBounds())},
			field{"false_alarms_per_year", d.number(&g.Limits.FalseAlarmsPerYear, budgetBounds())}),
		under("timing",
			field{"start_grace", d.duration(&g.Timing.StartGrace, 0, maxDelay, "2m")},
			field{"on_delay", d.duration(&g.Timing.OnDelay, 0, maxDelay, "10s")},
			field{"off_delay", d.duration(&g.Timing.OffDelay, 0, maxDelay, "1m")},
			field{"run_in", d.duration(&g.Timing.RunIn, 0, maxRunIn, "4h")},
			field{"deadband_percent", d.number(&g.Timing.DeadbandPercent, deadbandBounds())}),
		field{"sensors", func(sub entry) { sensors = sub }},
	)
	d.required(e, top, "id", "add `id: NAME` of "+idWant)
	maps.Copy(set, top)
	g.Fibre = Fibre(fibre)
	if g.Name == "" {
		g.Name = g.ID
	}
	g.places = set
	g.fill(set)
	d.order(g, set)
	if sensors.value != nil {
		d.sensors(&g, sensors)
	}
	return g, idAt
}

// lineIn gives the lines of keys within a scope.
func (d *decoder) lineIn(scope string) func(key string) (int, bool) {
	return func(key string) (int, bool) {
		line, given := d.lines[scope+key]
		return line, given
	}
}
