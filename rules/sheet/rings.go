package sheet

import (
	"fmt"
	"math"
)

const (
	sourceCut   = "R. K. Mobley, Root Cause Failure Analysis (1999), p. 226, with a worked example"
	sourceRings = "MIL-P-18472G section 3.3.9: at least five rings in a box"
	practice    = "common practice, no source"
	ours        = "a choice of ours"

	leastRings = 5

	// noseMM is left at the face of the box for the follower's nose to enter
	// (1/8 in); common practice, no source.
	noseMM = 3

	// thickSection is the section over the shaft's diameter from which on a
	// square braid bent round the shaft no longer stays square; the worked
	// example of the source has 0.5. A choice of ours.
	thickSection = 0.5

	// sectionTolerance is how far bought packing may be off its space, as a
	// part of it; a choice of ours.
	sectionTolerance = 0.05
)

// SectionMM is the side of the square packing: half of what the bore is larger
// than the shaft or its sleeve. Mobley (1999), p. 226.
func SectionMM(boreMM, rubbedMM float64) float64 { return (boreMM - rubbedMM) / 2 }

// CutLengthMM is the length of a ring along the middle of its section. Mobley
// (1999), p. 226.
func CutLengthMM(rubbedMM, sectionMM float64) float64 { return math.Pi * (rubbedMM + sectionMM) }

// section gives the side of the packing's space, or what is missing to know it.
func (in Input) section() (mm float64, missing needs) {
	missing.number("stuffing_box.shaft_mm or sleeve_mm", in.Box.RubbedMM())
	missing.number("stuffing_box.bore_mm", in.Box.BoreMM)
	if missing != nil {
		return 0, missing
	}
	return SectionMM(in.Box.BoreMM, in.Box.RubbedMM()), nil
}

// fit gives how many rings have room in the box, or what is missing to know it.
func (in Input) fit() (rings int, missing needs) {
	section, missing := in.section()
	missing.number("stuffing_box.depth_mm", in.Box.DepthMM)
	if in.Packing.Lantern {
		missing.number("packing.lantern_mm", in.Packing.LanternMM)
	}
	if missing != nil {
		return 0, missing
	}
	room := in.Box.DepthMM - in.Packing.LanternMM - noseMM
	return max(0, int(math.Floor(room/section+1e-9))), nil
}

// rings gives the packing rings: as configured, else as many as fit.
func (in Input) rings() (rings int, missing needs) {
	if in.Packing.Rings > 0 {
		return in.Packing.Rings, nil
	}
	return in.fit()
}

func (in Input) ringsSection() Section {
	return Section{
		ID: "rings", Title: "Packing rings",
		Rows: []Row{in.rubbedRow(), in.sectionRow(), in.cutRow(), in.fitRow(), in.fittedRow()},
		Notes: []string{
			"A bevelled cut wants about 6 mm (1/4 in) more; leave about 1.5 mm (1/16 in) between butts (same source). Try one ring on a mandrel of the shaft's size before cutting the rest.",
			"Measure bore and sleeve: a worn sleeve is smaller than its drawing says.",
		},
	}
}

func (in Input) rubbedRow() Row {
	row := Row{ID: "rubbed_mm", What: "diameter that the packing rubs on", Unit: "mm", Source: "stuffing_box.sleeve_mm, else shaft_mm"}
	if in.Box.RubbedMM() == 0 {
		return lacking(row, "stuffing_box.shaft_mm or sleeve_mm")
	}
	return figure(row, in.Box.RubbedMM())
}

func (in Input) sectionRow() Row {
	row := Row{ID: "section_mm", What: "section of the packing", Unit: "mm", Formula: "(bore - shaft or sleeve) / 2", Source: sourceCut}
	section, missing := in.section()
	if missing != nil {
		return lacking(row, missing...)
	}
	row = figure(row, section)
	if bought := in.Packing.SectionMM; bought > 0 && math.Abs(bought-section) > sectionTolerance*section {
		row = row.warn(fmt.Sprintf("packing.section_mm is %s mm, the space %s mm: the wrong size, or a worn sleeve or box", Number(bought), Number(section)))
	}
	return row
}

func (in Input) cutRow() Row {
	row := Row{ID: "cut_mm", What: "cut length of a ring, butt joint", Unit: "mm", Formula: "pi x (shaft or sleeve + section)", Source: sourceCut}
	section, missing := in.section()
	if missing != nil {
		return lacking(row, missing...)
	}
	row = figure(row, CutLengthMM(in.Box.RubbedMM(), section))
	if section > thickSection*in.Box.RubbedMM() {
		row = row.warn("the section is more than half the diameter: a straight length does not bend into a true ring; ask the supplier for formed rings (" + ours + ")")
	}
	return row
}

func (in Input) fitRow() Row {
	row := Row{
		ID: "rings_fit", What: "rings that have room",
		Formula: fmt.Sprintf("(depth - lantern ring - %d mm for the follower's nose) / section", noseMM), Source: practice,
	}
	rings, missing := in.fit()
	if missing != nil {
		return lacking(row, missing...)
	}
	row = figure(row, float64(rings))
	if rings < leastRings {
		row = row.warn(fmt.Sprintf("fewer than %d rings (%s)", leastRings, sourceRings))
	}
	return row
}

func (in Input) fittedRow() Row {
	row := Row{ID: "rings", What: "rings fitted", Source: "packing.rings"}
	if in.Packing.Rings == 0 {
		return lacking(row, "packing.rings")
	}
	row = figure(row, float64(in.Packing.Rings))
	fit, missing := in.fit()
	switch {
	case missing == nil && in.Packing.Rings > fit:
		row = row.warn(fmt.Sprintf("only %d have room: the follower would not enter the box", fit))
	case in.Packing.Rings < leastRings:
		row = row.warn(fmt.Sprintf("fewer than %d rings (%s)", leastRings, sourceRings))
	}
	return row
}
