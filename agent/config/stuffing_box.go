package config

import (
	"fmt"

	"weepd/rules/sheet"
)

// Bounds of a stuffing box, from a metering pump to a dredger: wide enough for
// any gland, narrow enough to catch a slip of the keyboard. Choices of ours.
func diameterBounds() bounds {
	return bounds{3, 1500, false, "millimetres, from 3 to 1500"}
}
func lengthBounds() bounds {
	return bounds{0, 1500, true, "millimetres, above 0 and at most 1500"}
}
func rpmBounds() bounds {
	return bounds{0, 30_000, true, "turns a minute, above 0 and at most 30000"}
}
func gaugeBounds() bounds {
	return bounds{-1, 400, false, "bar over the air around, from -1 to 400"}
}
func airBounds() bounds {
	return bounds{0.5, 1.2, false, "bar, absolute, from 0.5 to 1.2"}
}
func liquidBounds() bounds {
	return bounds{-30, 370, false, "a temperature in °C, from -30 to 370"}
}
func pitchBounds() bounds {
	return bounds{0.25, 10, false, "millimetres a turn, from 0.25 to 10"}
}

// standardAirBar is the standard atmosphere, 1013.25 hPa (ISO 2533).
const standardAirBar = 1.01325

// defaultNutFlats: gland nuts are hexagons (ISO 4032) unless told otherwise.
const defaultNutFlats = 6

// stuffingBox reads what is known of the box itself and its duty; every key
// may be absent.
func (d *decoder) stuffingBox(b *sheet.Box, e entry) placed {
	b.AirBar, b.NutFlats = standardAirBar, defaultNutFlats
	var fluid string
	set := d.mapping(e,
		field{"shaft_mm", d.number(&b.ShaftMM, diameterBounds())},
		field{"sleeve_mm", d.number(&b.SleeveMM, diameterBounds())},
		field{"bore_mm", d.number(&b.BoreMM, diameterBounds())},
		field{"depth_mm", d.number(&b.DepthMM, lengthBounds())},
		field{"flush_port_mm", d.number(&b.FlushPortMM, lengthBounds())},
		field{"speed_rpm", d.number(&b.SpeedRPM, rpmBounds())},
		field{"pressure_bar", d.optional(&b.PressureBar, gaugeBounds())},
		field{"flush_bar", d.optional(&b.FlushBar, gaugeBounds())},
		field{"air_bar", d.number(&b.AirBar, airBounds())},
		field{"fluid", d.choice(&fluid, sheet.Fluids()...)},
		field{"fluid_c", d.optional(&b.FluidC, liquidBounds())},
		field{"flush_c", d.optional(&b.FlushC, liquidBounds())},
		field{"thread_pitch_mm", d.number(&b.ThreadPitchMM, pitchBounds())},
		field{"follower_travel_mm", d.number(&b.FollowerTravelMM, lengthBounds())},
		field{"nut_flats", d.oneOf(&b.NutFlats, 4, 6, 8, 12)},
	)
	b.Fluid = sheet.Fluid(fluid)
	d.boxFits(*b, set)
	return set
}

// optional reads a number that may be absent where 0 is a value of its own.
func (d *decoder) optional(dst **float64, b bounds) func(entry) {
	return func(e entry) {
		var v float64
		before := len(d.faults)
		d.number(&v, b)(e)
		if len(d.faults) == before {
			*dst = &v
		}
	}
}

// boxFits checks what cannot be in metal.
func (d *decoder) boxFits(b sheet.Box, set placed) {
	below := func(small, large string, smaller, larger float64) {
		if smaller == 0 || larger == 0 || smaller < larger {
			return
		}
		d.fault(set[large], fmt.Sprintf("want stuffing_box.%s below stuffing_box.%s", small, large),
			"stuffing_box.%s %g is not below stuffing_box.%s %g", small, smaller, large, larger)
	}
	rubbed := "shaft_mm"
	if b.SleeveMM > 0 {
		rubbed = "sleeve_mm"
		below("shaft_mm", "sleeve_mm", b.ShaftMM, b.SleeveMM)
	}
	below(rubbed, "bore_mm", b.RubbedMM(), b.BoreMM)
	below("flush_port_mm", "depth_mm", b.FlushPortMM, b.DepthMM)
	below("follower_travel_mm", "depth_mm", b.FollowerTravelMM, b.DepthMM)
}

// boxSettings lists what the file gives of the box.
func (g Gland) boxSettings() []Setting {
	b := g.StuffingBox
	var list []Setting
	add := func(key, value string) {
		key = "stuffing_box." + key
		if from, known := g.origins[key]; known {
			list = append(list, Setting{key, value, from})
		}
	}
	_, described := g.places["stuffing_box"]
	orDefault := func(key, value, origin string) {
		if _, known := g.origins["stuffing_box."+key]; described && !known {
			list = append(list, Setting{"stuffing_box." + key, value, "default: " + origin})
			return
		}
		add(key, value)
	}
	number := func(key string, v float64, unit string) { add(key, fmt.Sprintf("%g %s", v, unit)) }
	optional := func(key string, v *float64, unit string) {
		if v != nil {
			number(key, *v, unit)
		}
	}
	number("shaft_mm", b.ShaftMM, "mm")
	number("sleeve_mm", b.SleeveMM, "mm")
	number("bore_mm", b.BoreMM, "mm")
	number("depth_mm", b.DepthMM, "mm")
	number("flush_port_mm", b.FlushPortMM, "mm from the face of the box")
	number("speed_rpm", b.SpeedRPM, "turns a minute")
	optional("pressure_bar", b.PressureBar, "bar over the air")
	optional("flush_bar", b.FlushBar, "bar over the air")
	orDefault("air_bar", fmt.Sprintf("%g bar absolute", b.AirBar), "the standard atmosphere, ISO 2533")
	add("fluid", string(b.Fluid))
	optional("fluid_c", b.FluidC, "°C")
	optional("flush_c", b.FlushC, "°C")
	number("thread_pitch_mm", b.ThreadPitchMM, "mm a turn")
	number("follower_travel_mm", b.FollowerTravelMM, "mm")
	orDefault("nut_flats", fmt.Sprint(b.NutFlats), "hexagon nuts, ISO 4032")
	return list
}
