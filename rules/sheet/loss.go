package sheet

import "fmt"

// Volumes of a drop where nobody has measured it, mL: 20 drops a millilitre is
// the pharmacopoeia's (from memory); a third of a millilitre is on the USGS
// water-science page on dripping taps (one of two versions of it; the other has
// a quarter).
const (
	dropLowML  = 0.05
	dropHighML = 1. / 3

	sourceDrop = "0.05 mL: pharmacopoeia, from memory; 1/3 mL: USGS drip page (another version has 1/4)"
)

const (
	minutesADay = 24 * 60
	daysAYear   = 365.25
)

// LitresADay is what a weep loses in a day: drops a minute and mL a drop.
func LitresADay(dpm, dropML float64) float64 { return dpm * minutesADay * dropML / 1000 }

// DropML gives the volume of a drop: as measured, or the range that is found in
// print. measured is 0 where nobody has.
func DropML(measured float64) (low, high float64) {
	if measured > 0 {
		return measured, measured
	}
	return dropLowML, dropHighML
}

func (in Input) drop() span {
	low, high := DropML(in.DropML)
	return span{low, high}
}

func (in Input) lossSection() Section {
	s := Section{ID: "loss", Title: "Water lost", Rows: []Row{in.dropRow()}}
	for _, at := range []struct {
		id, what string
		dpm      float64
	}{
		{"normal", fmt.Sprintf("at the normal weep, %s drops/min", Number(in.NormalDPM)), in.NormalDPM},
		{"leak", fmt.Sprintf("at the most allowed, %s drops/min", Number(in.LeakDPM)), in.LeakDPM},
	} {
		s.Rows = append(s.Rows, in.lossRows(at.id, at.what, at.dpm)...)
	}
	s.Notes = []string{"Weeping all day and all year; flush that goes into the pump is not in these figures."}
	return s
}

func (in Input) dropRow() Row {
	row := Row{ID: "drop_ml", What: "volume of a drop", Unit: "mL", Source: "drop_ml"}
	if in.DropML == 0 {
		row.Source = sourceDrop
	}
	row = between(row, in.drop())
	if in.DropML == 0 {
		row = row.warn("not measured: catch a hundred drops and weigh them, then set drop_ml")
	}
	return row
}

func (in Input) lossRows(id, what string, dpm float64) []Row {
	day := in.drop().by(LitresADay(dpm, 1))
	year := day.by(daysAYear / 1000)
	cost := Row{ID: id + "_cost", What: "  its cost a year", Unit: in.Currency, Formula: "m³ a year x price", Source: "water.price_per_m3 or --price"}
	if in.PricePerM3 == 0 {
		cost = lacking(cost, "water.price_per_m3 or --price")
	} else {
		cost = between(cost, year.by(in.PricePerM3))
	}
	return []Row{
		between(Row{ID: id + "_l_day", What: what, Unit: "L a day", Formula: "drops x volume", Source: "arithmetic"}, day),
		between(Row{ID: id + "_m3_year", What: "  in a year", Unit: "m³", Formula: fmt.Sprintf("x %g days", daysAYear), Source: "arithmetic"}, year),
		cost,
	}
}
