package sheet

import (
	"fmt"

	"weepd/rules/water"
)

const (
	sourceBoiling = "IAPWS R7-97(2012), region 4, equation 31"

	// standardAirBar is the standard atmosphere, ISO 2533.
	standardAirBar = 1.01325

	// Flush over the box: 5 psi, with suction lift 10 to 25 psi over the air
	// (Karassik, Pump Handbook, 3rd ed., p. 2.192, seen in an unofficial copy);
	// 15 psi for slurry (Lobanoff & Ross, Centrifugal Pumps: Design and
	// Application, p. 238).
	psiBar           = 0.0689476
	flushLeastBar    = 5 * psiBar
	flushSlurryBar   = 15 * psiBar
	flushLiftLowBar  = 10 * psiBar
	flushLiftHighBar = 25 * psiBar

	// smallMarginC is a boiling margin worth a warning; a choice of ours.
	smallMarginC = 10
)

const sourceFlush = "Karassik, Pump Handbook, 3rd ed., p. 2.192 (unofficial copy): 5 psi over the process; Lobanoff & Ross, Centrifugal Pumps, p. 238: 15 psi for slurry"

func (in Input) pressureSection() Section {
	return Section{
		ID: "pressure", Title: "Pressure, flush and boiling",
		Rows: []Row{in.flushRow(), in.boilsRow(), in.marginRow(), in.outerMarginRow()},
		Notes: []string{
			"The film under the packing is hotter than what a sensor on the gland shows, and loses pressure on its way out: a margin at the box is the best case.",
		},
	}
}

func (in Input) flushRow() Row {
	row := Row{ID: "flush_over_bar", What: "flush pressure over box pressure", Unit: "bar", Formula: "flush - box", Source: sourceFlush}
	var missing needs
	missing.optional("stuffing_box.pressure_bar", in.Box.PressureBar)
	missing.optional("stuffing_box.flush_bar", in.Box.FlushBar)
	if missing != nil {
		return lacking(row, missing...)
	}
	box, flush := *in.Box.PressureBar, *in.Box.FlushBar
	row = figure(row, flush-box)
	switch over := flush - box; {
	case over < 0:
		return row.warn("the box pushes its liquid into the flush line: check flush supply and non-return valve")
	case box < 0 && flush < flushLiftLowBar:
		return row.warn(fmt.Sprintf("with suction lift %s to %s bar over the air are wanted, or air is drawn in", Number(flushLiftLowBar), Number(flushLiftHighBar)))
	case over < flushLeastBar:
		return row.warn(fmt.Sprintf("less than %s bar (5 psi): dirt of the box may get under the packing", Number(flushLeastBar)))
	case in.Box.Fluid == Slurry && over < flushSlurryBar:
		return row.warn(fmt.Sprintf("for slurry %s bar (15 psi) is reckoned with", Number(flushSlurryBar)))
	case box >= 0 && over > 2*flushSlurryBar:
		return row.warn("far above the box: it wears the packing and wastes flush (" + practice + ")")
	}
	return row
}

func (in Input) boilsRow() Row {
	row := Row{ID: "boils_c", What: "water boils at the pressure in the box at", Unit: "°C", Formula: "Tsat(box pressure + air)", Source: sourceBoiling}
	if in.Box.PressureBar == nil {
		return lacking(row, "stuffing_box.pressure_bar")
	}
	if !in.Box.Fluid.watery() {
		_, why := in.liquid()
		return words(row, why)
	}
	boils, ok := water.BoilingC(*in.Box.PressureBar + in.Box.AirBar)
	if !ok {
		return words(row, "outside the range of IF97 (0.0061 to 220.6 bar absolute)")
	}
	return in.asWater(figure(row, boils))
}

// margin fills a row with how far below boiling the film is at a pressure over
// the air.
func (in Input) margin(row Row, gauge *float64) Row {
	var missing needs
	missing.optional("stuffing_box.pressure_bar", gauge)
	film, known := in.film()
	if !known {
		missing = append(missing, "stuffing_box.fluid_c or flush_c")
	}
	if missing != nil {
		return lacking(row, missing...)
	}
	if _, why := in.liquid(); why != "" && !in.Box.Fluid.watery() {
		return words(row, why)
	}
	boils, ok := water.BoilingC(*gauge + in.Box.AirBar)
	if !ok {
		return words(row, "outside the range of IF97 (0.0061 to 220.6 bar absolute)")
	}
	margin := boils - film - in.RiseC
	row = figure(row, margin)
	switch {
	case margin <= 0:
		row = row.warn("the film boils before the rise alarm comes: cool or flush the box, or lower limits.rise_c")
	case margin < smallMarginC:
		row = row.warn(fmt.Sprintf("less than %d °C (%s)", smallMarginC, ours))
	}
	return row
}

func (in Input) marginRow() Row {
	return in.margin(Row{
		ID: "margin_c", What: fmt.Sprintf("boiling margin at box pressure, liquid %s °C warmer", Number(in.RiseC)), Unit: "°C",
		Formula: "Tsat(box + air) - liquid or flush - limits.rise_c", Source: sourceBoiling,
	}, in.Box.PressureBar)
}

func (in Input) outerMarginRow() Row {
	air := 0.0
	return in.margin(Row{
		ID: "margin_outside_c", What: fmt.Sprintf("boiling margin at the follower, liquid %s °C warmer", Number(in.RiseC)), Unit: "°C",
		Formula: "Tsat(air) - liquid or flush - limits.rise_c", Source: sourceBoiling,
	}, &air)
}
