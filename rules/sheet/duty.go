package sheet

import "fmt"

// SupplierDecides goes with every judgement of a packing.
const SupplierDecides = "The packing supplier decides whether a packing fits: ask with pressure, speed, temperature and liquid in hand. Figures of a family only say where to begin."

func (in Input) dutySection() Section {
	s := Section{ID: "duty", Title: "Packing and its duty"}
	family, known := FamilyOf(in.Packing.Family)
	row := Row{ID: "family", What: "family", Source: "packing.family"}
	if !known {
		s.Rows = []Row{lacking(row, "packing.family")}
		s.Notes = []string{SupplierDecides}
		return s
	}
	s.Rows = []Row{
		words(row, family.Name),
		in.temperatureRow(family), in.speedLimitRow(family), in.pressureLimitRow(family),
		words(Row{ID: "ph", What: "pH", Source: family.PHFrom}, family.PH),
	}
	s.Rows = append(s.Rows, in.cautionRows(family)...)
	s.Rows = append(s.Rows, verdict(s.Rows))
	s.Notes = []string{
		SupplierDecides,
		"Navy rotary packings are qualified in fresh water up to 121 °C (250 °F) and 10.3 bar (150 psi) on a rig of up to 20.3 m/s (MIL-PRF-24790A appendix A).",
	}
	return s
}

// limit gives the supplier's figure where there is one, else the family's.
func limit(supplier float64, key string, family Figure) Figure {
	if supplier > 0 {
		return Figure{supplier, "the supplier's, packing." + key}
	}
	return family
}

// against puts a duty beside its limit.
func against(row Row, duty float64, most Figure) Row {
	row.Source = most.Source
	row = figure(row, duty)
	row.Text = fmt.Sprintf("%s %s of at most %s %s: ", Number(duty), row.Unit, Number(most.Value), row.Unit)
	if duty > most.Value {
		row.Text += "does not fit"
		return row.warn(fmt.Sprintf("%s %s is outside what the packing is given for, at most %s", Number(duty), row.Unit, Number(most.Value)))
	}
	row.Text += "fits"
	return row
}

func (in Input) temperatureRow(f Family) Row {
	most := limit(in.Packing.SupplierMaxC, "supplier_max_c", f.MaxC)
	row := Row{ID: "duty_c", What: "liquid in the box", Unit: "°C", Source: most.Source}
	film, known := in.film()
	if in.Box.FluidC != nil {
		film, known = max(film, *in.Box.FluidC), true // without flush the box has the liquid's heat
	}
	if !known {
		return lacking(row, "stuffing_box.fluid_c")
	}
	return against(row, film, most)
}

func (in Input) speedLimitRow(f Family) Row {
	most := limit(in.Packing.SupplierMaxMPS, "supplier_max_m_s", f.MaxMPS)
	row := Row{ID: "duty_m_s", What: "surface speed", Unit: "m/s", Source: most.Source}
	speed, missing := in.speed()
	if missing != nil {
		return lacking(row, missing...)
	}
	return against(row, speed, most)
}

func (in Input) pressureLimitRow(f Family) Row {
	most := limit(in.Packing.SupplierMaxBar, "supplier_max_bar", f.MaxBar)
	row := Row{ID: "duty_bar", What: "pressure in the box", Unit: "bar", Source: most.Source}
	if in.Box.PressureBar == nil {
		return lacking(row, "stuffing_box.pressure_bar")
	}
	return against(row, *in.Box.PressureBar, most)
}

func (in Input) cautionRows(f Family) []Row {
	var rows []Row
	for _, c := range f.Cautions {
		if c.Fluid != "" && c.Fluid != in.Box.Fluid {
			continue
		}
		row := Row{ID: "caution", What: "caution", Text: c.Text, Source: c.Source}
		if c.Fluid != "" {
			row.What = string(c.Fluid)
			row = row.warn(c.Text)
		}
		if c.Unfit {
			row.ID = "unfit"
			row.Text += ": does not fit"
		}
		rows = append(rows, row)
	}
	return rows
}

// verdict sums up: one thing that does not fit is enough; what is not known
// leaves it open.
func verdict(rows []Row) Row {
	row := Row{ID: "fits", What: "the duty", Source: "the rows above"}
	unknown, asked := false, false
	for _, r := range rows {
		switch {
		case r.ID == "unfit" || r.Low != nil && len(r.Warnings) > 0:
			return words(row, "does not fit this family as given; the supplier decides")
		case len(r.Missing) > 0:
			unknown = true
		case len(r.Warnings) > 0:
			asked = true
		}
	}
	switch {
	case unknown:
		return words(row, "cannot be judged: figures are missing; the supplier decides")
	case asked:
		return words(row, "fits by the figures, with cautions for this liquid; the supplier decides")
	default:
		return words(row, "fits by the figures; the supplier decides")
	}
}
