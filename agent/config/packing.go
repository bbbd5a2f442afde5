package config

import (
	"fmt"

	"weepd/rules/sheet"
)

// Bounds of a packing; choices of ours but for what says otherwise.
func sectionBounds() bounds {
	return bounds{1, 100, false, "millimetres, from 1 to 100"}
}

// frictionBounds: 0.05 to 0.2 is what is commonly reckoned with (common
// practice, no source); beyond 1 nothing turns for long.
func frictionBounds() bounds {
	return bounds{0.001, 1, false, "a coefficient of friction, from 0.001 to 1"}
}
func contactBounds() bounds {
	return bounds{0, 1000, true, "bar, above 0 and at most 1000"}
}
func ratedCBounds() bounds {
	return bounds{0, 1000, true, "a temperature in °C, above 0 and at most 1000"}
}
func ratedSpeedBounds() bounds {
	return bounds{0, 100, true, "metres a second, above 0 and at most 100"}
}

const mostRings = 30

// packing reads what the box is packed with; every key may be absent.
func (d *decoder) packing(fibre *string, p *sheet.Packing, e entry) placed {
	set := d.mapping(e,
		field{"fibre", d.choice(fibre, string(Natural), string(Synthetic))},
		field{"family", d.choice(&p.Family, sheet.FamilyIDs()...)},
		field{"rings", d.whole(&p.Rings, 1, mostRings, "a number of packing rings, from 1 to 30, the lantern ring not counted")},
		field{"lantern_after", d.whole(&p.LanternAfter, 0, mostRings, "a number of rings between the bottom of the box and the lantern ring, from 0 to 30")},
		field{"lantern_mm", d.number(&p.LanternMM, lengthBounds())},
		field{"section_mm", d.number(&p.SectionMM, sectionBounds())},
		field{"friction_low", d.number(&p.FrictionLow, frictionBounds())},
		field{"friction_high", d.number(&p.FrictionHigh, frictionBounds())},
		field{"contact_bar_low", d.number(&p.ContactBarLow, contactBounds())},
		field{"contact_bar_high", d.number(&p.ContactBarHigh, contactBounds())},
		field{"supplier_max_c", d.number(&p.SupplierMaxC, ratedCBounds())},
		field{"supplier_max_m_s", d.number(&p.SupplierMaxMPS, ratedSpeedBounds())},
		field{"supplier_max_bar", d.number(&p.SupplierMaxBar, contactBounds())},
	)
	d.packingFits(*fibre, p, set)
	return set
}

// packingFits checks what contradicts itself.
func (d *decoder) packingFits(fibre string, p *sheet.Packing, set placed) {
	if at, given := set["lantern_after"]; given {
		p.Lantern = true
		if p.Rings > 0 && p.LanternAfter > p.Rings {
			d.fault(at, "want at most packing.rings", "packing.lantern_after %d is more than packing.rings %d", p.LanternAfter, p.Rings)
		}
	}
	if at, given := set["lantern_mm"]; given && !p.Lantern {
		d.fault(at, "add `lantern_after:`, the rings below the lantern ring, or remove the line", "packing.lantern_mm without packing.lantern_after")
	}
	d.lowHigh("friction", p.FrictionLow, p.FrictionHigh, set)
	d.lowHigh("contact_bar", p.ContactBarLow, p.ContactBarHigh, set)
	if at, given := set["fibre"]; given && p.Family != "" && fibre != "" && Fibre(fibre) != fibreOf(p.Family) {
		d.fault(at, fmt.Sprintf("write %s, or remove the line", fibreOf(p.Family)), "packing.fibre is %s, but packing.family %s is %s fibre", fibre, p.Family, fibreOf(p.Family))
	}
}

// lowHigh checks that a range has both ends and stands on its feet.
func (d *decoder) lowHigh(key string, low, high float64, set placed) {
	lowAt, lowGiven := set[key+"_low"]
	highAt, highGiven := set[key+"_high"]
	switch {
	case lowGiven && !highGiven:
		d.fault(lowAt, fmt.Sprintf("add `%s_high:`", key), "packing.%s_low without packing.%s_high", key, key)
	case highGiven && !lowGiven:
		d.fault(highAt, fmt.Sprintf("add `%s_low:`", key), "packing.%s_high without packing.%s_low", key, key)
	case low > high && high > 0:
		d.fault(highAt, fmt.Sprintf("want it at least %g", low), "packing.%s_high %g is below packing.%s_low %g", key, high, key, low)
	}
}

// fibreOf says which fibre a family of packings is made of.
func fibreOf(family string) Fibre {
	if family == sheet.Plant {
		return Natural
	}
	return Synthetic
}

// packingSettings lists what the file gives of the packing beside its fibre.
func (g Gland) packingSettings() []Setting {
	p := g.Packing
	var list []Setting
	add := func(key, format string, value any) {
		key = "packing." + key
		if from, known := g.origins[key]; known {
			list = append(list, Setting{key, fmt.Sprintf(format, value), from})
		}
	}
	add("family", "%s", p.Family)
	add("rings", "%d", p.Rings)
	add("lantern_after", "%d rings from the bottom", p.LanternAfter)
	add("lantern_mm", "%g mm", p.LanternMM)
	add("section_mm", "%g mm", p.SectionMM)
	add("friction_low", "%g", p.FrictionLow)
	add("friction_high", "%g", p.FrictionHigh)
	add("contact_bar_low", "%g bar", p.ContactBarLow)
	add("contact_bar_high", "%g bar", p.ContactBarHigh)
	add("supplier_max_c", "%g °C", p.SupplierMaxC)
	add("supplier_max_m_s", "%g m/s", p.SupplierMaxMPS)
	add("supplier_max_bar", "%g bar", p.SupplierMaxBar)
	return list
}
