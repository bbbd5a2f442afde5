package sheet

import (
	"fmt"
	"math"

	"weepd/rules/water"
)

const (
	sourceFriction = "Coulomb friction; as F = pi d H x radial pressure x mu in ASME/NRC PVS2017-3518 (there for valve stems), times the surface speed"
	sourceSpeed    = "circumference times turns"
	sourceWater    = "IAPWS R7-97(2012), region 1"

	barPa = 1e5
)

// The friction of packing varies with its lubricant, the film and the gland's
// tightening. No textbook value was found: 0.05 to 0.2 is common practice, no
// source. The mean pressure on the shaft is at least the liquid's, or the
// liquid would lift the packing off; its upper end is an assumption of ours.
const (
	frictionLow, frictionHigh = 0.05, 0.2
	contactFactor             = 3
	leastContactBar           = 1 // hand-tight, liquid near the air's pressure
)

// The formulas were tried, and packing is in use, up to here; beyond it films
// and rings behave differently. 4000 ft/min is what MIL-PRF-24790A appendix A
// asks of the rig that qualifies rotary packings.
const testedMPS = 20.3

// SpeedMPS is the surface speed in m/s of a diameter in mm at turns a minute.
func SpeedMPS(diameterMM, rpm float64) float64 { return math.Pi * diameterMM / 1000 * rpm / 60 }

// FrictionW is the power in watts that packing with a coefficient of friction
// and a mean pressure on the shaft in bar takes on a length of a shaft, both in
// mm, at a surface speed in m/s.
func FrictionW(mu, contactBar, diameterMM, lengthMM, speedMPS float64) float64 {
	return mu * contactBar * barPa * math.Pi * diameterMM / 1000 * lengthMM / 1000 * speedMPS
}

// WeepHeatW is the heat in watts that a weep of drops carries off when it warms
// by a rise in °C: drops a minute, mL a drop, kg/m³ and kJ/(kg K).
func WeepHeatW(dpm, dropML, density, heat, riseC float64) float64 {
	return dpm / 60 * dropML * 1e-6 * density * heat * 1000 * riseC
}

func (in Input) frictionSection() Section {
	friction, missing := in.friction()
	return Section{
		ID: "friction", Title: "Speed and friction",
		Rows: []Row{in.speedRow(), in.speedPressureRow(), in.coefficientRow(), in.contactRow(), in.frictionRow(friction, missing), in.weepHeatRow(friction, missing)},
		Notes: []string{
			"The weep is there to lubricate: it carries off a small part of the heat. Most of it leaves through shaft, sleeve, box and the liquid behind them.",
			"Rig tests of pump packings (a task force of the European and the US sealing associations, published 2015) found less friction than such formulas give. Figures of your packing and gland (packing.friction_..., contact_bar_...) narrow the range.",
		},
	}
}

// speed gives the surface speed, or what is missing to know it.
func (in Input) speed() (mps float64, missing needs) {
	missing.number("stuffing_box.shaft_mm or sleeve_mm", in.Box.RubbedMM())
	missing.number("stuffing_box.speed_rpm", in.Box.SpeedRPM)
	return SpeedMPS(in.Box.RubbedMM(), in.Box.SpeedRPM), missing
}

func (in Input) speedRow() Row {
	row := Row{ID: "speed_m_s", What: "surface speed", Unit: "m/s", Formula: "pi x diameter x turns", Source: sourceSpeed}
	speed, missing := in.speed()
	if missing != nil {
		return lacking(row, missing...)
	}
	row = figure(row, speed)
	if speed > testedMPS {
		row = row.warn(fmt.Sprintf("above %g m/s, the speed that MIL-PRF-24790A appendix A tests rotary packings up to", testedMPS))
	}
	return row
}

func (in Input) speedPressureRow() Row {
	row := Row{ID: "pv_bar_m_s", What: "pressure times speed", Unit: "bar m/s", Formula: "box pressure over the air x surface speed", Source: "definition; suppliers' limits are given so"}
	speed, missing := in.speed()
	missing.optional("stuffing_box.pressure_bar", in.Box.PressureBar)
	if missing != nil {
		return lacking(row, missing...)
	}
	if *in.Box.PressureBar < 0 {
		return words(row, "none: the box is below the pressure of the air")
	}
	return figure(row, *in.Box.PressureBar*speed)
}

func (in Input) coefficient() (mu span, source string) {
	if in.Packing.FrictionHigh > 0 {
		return span{in.Packing.FrictionLow, in.Packing.FrictionHigh}, "packing.friction_low, friction_high"
	}
	return span{frictionLow, frictionHigh}, practice
}

func (in Input) coefficientRow() Row {
	mu, source := in.coefficient()
	return between(Row{ID: "friction", What: "coefficient of friction", Source: source}, mu)
}

// contact gives the mean pressure of the packing on the shaft, bar.
func (in Input) contact() (bar span, source string, missing needs) {
	if in.Packing.ContactBarHigh > 0 {
		return span{in.Packing.ContactBarLow, in.Packing.ContactBarHigh}, "packing.contact_bar_low, contact_bar_high", nil
	}
	missing.optional("stuffing_box.pressure_bar", in.Box.PressureBar)
	if missing != nil {
		return span{}, "", missing
	}
	least := math.Max(*in.Box.PressureBar, leastContactBar)
	return span{least, contactFactor * least}, fmt.Sprintf("at least the liquid's and %d bar, up to %d times that: an assumption of ours", leastContactBar, contactFactor), nil
}

func (in Input) contactRow() Row {
	row := Row{ID: "contact_bar", What: "mean pressure of the packing on the shaft", Unit: "bar"}
	contact, source, missing := in.contact()
	if missing != nil {
		return lacking(row, "packing.contact_bar_low and contact_bar_high or stuffing_box.pressure_bar")
	}
	row.Source = source
	row = between(row, contact)
	if p := in.Box.PressureBar; p != nil && contact.high < *p {
		row = row.warn("below the pressure in the box: packing pressed on that lightly would not hold the liquid")
	}
	return row
}

func (in Input) friction() (watts span, missing needs) {
	speed, missing := in.speed()
	section, more := in.section()
	missing = append(missing, more...)
	rings, more := in.rings()
	missing = append(missing, more...)
	contact, _, more := in.contact()
	missing = unique(append(missing, more...))
	if len(missing) > 0 {
		return span{}, missing
	}
	mu, _ := in.coefficient()
	return mu.times(contact).by(FrictionW(1, 1, in.Box.RubbedMM(), float64(rings)*section, speed)), nil
}

func (in Input) frictionRow(watts span, missing needs) Row {
	row := Row{
		ID: "friction_w", What: "friction power", Unit: "W",
		Formula: "mu x pressure x pi x diameter x length of packing x speed", Source: sourceFriction,
	}
	if missing != nil {
		return lacking(row, missing...)
	}
	row = between(row, watts)
	if speed, _ := in.speed(); speed > testedMPS {
		row = row.warn("outside the speeds that packings are tested at: take it as an order of size only")
	}
	return row
}

func (in Input) weepHeatRow(friction span, missing needs) Row {
	row := Row{
		ID: "weep_heat_w", What: fmt.Sprintf("heat that the normal weep carries off, %s °C warmer", Number(in.RiseC)), Unit: "W",
		Formula: "drops x volume x density x heat capacity x rise", Source: sourceWater,
	}
	liquid, why := in.liquid()
	if why != "" {
		return words(row, why)
	}
	watts := in.drop().by(WeepHeatW(in.NormalDPM, 1, liquid.Density, liquid.Heat, in.RiseC))
	row = between(row, watts)
	if missing == nil {
		share := watts.over(friction).by(100)
		row.Text += fmt.Sprintf(": %.2g to %.2g %% of the friction power", share.low, share.high)
	}
	return in.asWater(row)
}

// liquid gives the water of the film, or why there is none to reckon with.
func (in Input) liquid() (l water.Liquid, why string) {
	if !in.Box.Fluid.watery() {
		return l, fmt.Sprintf("not reckoned: weepd has the properties of water only, not of %s", in.Box.Fluid)
	}
	celsius := 20.0 // density and heat capacity change by 4 % up to 100 °C
	if c, known := in.film(); known {
		celsius = c
	}
	bar := in.Box.AirBar
	if in.Box.PressureBar != nil {
		bar = math.Max(bar, bar+*in.Box.PressureBar)
	}
	l, ok := water.LiquidAt(celsius, bar)
	if !ok {
		return l, fmt.Sprintf("not reckoned: at %s °C and %s bar absolute water is no liquid, or outside IF97", Number(celsius), Number(bar))
	}
	return l, ""
}

// film gives the temperature of the liquid under the packing: the flush's
// where one is given.
func (in Input) film() (celsius float64, known bool) {
	switch {
	case in.Box.FlushC != nil:
		return *in.Box.FlushC, true
	case in.Box.FluidC != nil:
		return *in.Box.FluidC, true
	}
	return 0, false
}

// watery reports whether the liquid can be reckoned with as water; a liquid
// that is not named is taken for water.
func (f Fluid) watery() bool {
	switch f {
	case "", Water, DrinkingWater, SeaWater, WasteWater, Slurry:
		return true
	default:
		return false
	}
}

// asWater warns where pure water only stands for the liquid.
func (in Input) asWater(row Row) Row {
	switch in.Box.Fluid {
	case "":
		return row.warn("the liquid is taken to be water (stuffing_box.fluid is not given)")
	case SeaWater, WasteWater, Slurry:
		return row.warn(fmt.Sprintf("%s is reckoned as pure water", in.Box.Fluid))
	default:
		return row
	}
}

func unique(keys needs) needs {
	var out needs
	for _, k := range keys {
		known := false
		for _, o := range out {
			known = known || o == k
		}
		if !known {
			out = append(out, k)
		}
	}
	return out
}
