package sheet

import "strings"

// Input is all that a sheet is made from.
type Input struct {
	Gland, Name string
	Box         Box
	Packing     Packing

	NormalDPM float64 // the weep it is set to, drops a minute
	LeakDPM   float64 // most weep allowed
	RiseC     float64 // most rise over the reference, °C
	DropML    float64 // volume of one drop as measured; 0 = not measured

	PricePerM3 float64 // of the water that is lost; 0 = not known
	Currency   string  // for people
}

// Sheet is a gland's sheet.
type Sheet struct {
	Gland    string    `json:"gland"`
	Name     string    `json:"name"`
	Sections []Section `json:"sections"`
	Cautions []string  `json:"cautions"`
}

// Section is one titled part of a sheet.
type Section struct {
	ID    string   `json:"id"`
	Title string   `json:"title"`
	Rows  []Row    `json:"rows"`
	Notes []string `json:"notes,omitempty"`
}

// Row is one figure, or why there is none.
type Row struct {
	ID      string   `json:"id"`
	What    string   `json:"what"`
	Low     *float64 `json:"low,omitempty"`  // in Unit; Low = High where it is one figure
	High    *float64 `json:"high,omitempty"` // absent where the row has words only
	Unit    string   `json:"unit,omitempty"`
	Text    string   `json:"text"`              // the figure with its unit, or words, for people
	Formula string   `json:"formula,omitempty"` // with the units that it wants
	Source  string   `json:"source,omitempty"`  // of the formula or the figure
	// Missing has the keys of the configuration without which there is no
	// figure, Warnings what speaks against it.
	Missing  []string `json:"missing,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
}

// Make works a sheet out. It never fails: what cannot be known is said so.
func Make(in Input) Sheet {
	if in.Box.AirBar == 0 {
		in.Box.AirBar = standardAirBar
	}
	return Sheet{
		Gland: in.Gland, Name: in.Name,
		Sections: []Section{
			in.ringsSection(), in.lanternSection(), in.frictionSection(),
			in.pressureSection(), in.lossSection(), in.dutySection(),
		},
		Cautions: cautions(),
	}
}

// cautions hold for every sheet; they are the product's safety texts.
func cautions() []string {
	return []string{
		"The pump maker's instructions, the packing supplier's data, the lock-out rules and the local codes come before every figure here.",
		"Never work on a turning shaft without its guards, and never slack back a hot gland on a running pump unless the maker's instructions say so.",
		"weepd is no safety system; its alarms do not replace trips.",
	}
}

// Warnings lists every warning of the sheet, for tests and summaries.
func (s Sheet) Warnings() []string {
	var all []string
	for _, section := range s.Sections {
		for _, row := range section.Rows {
			all = append(all, row.Warnings...)
		}
	}
	return all
}

// Row finds a row by its id; false if there is none.
func (s Sheet) Row(id string) (Row, bool) {
	for _, section := range s.Sections {
		for _, row := range section.Rows {
			if row.ID == id {
				return row, true
			}
		}
	}
	return Row{}, false
}

// lacking makes a row without a figure.
func lacking(row Row, keys ...string) Row {
	row.Missing = keys
	row.Text = "not known: needs " + strings.Join(keys, ", ")
	return row
}

// words makes a row without a figure that says something all the same.
func words(row Row, text string) Row {
	row.Text = text
	return row
}

// figure puts one figure into a row.
func figure(row Row, v float64) Row { return between(row, span{v, v}) }

// between puts a range into a row.
func between(row Row, s span) Row {
	row.Low, row.High = &s.low, &s.high
	row.Text = s.text(row.Unit)
	return row
}

func (r Row) warn(text string) Row {
	r.Warnings = append(r.Warnings, text)
	return r
}

// needs collects the keys of what is not known.
type needs []string

func (n *needs) number(key string, v float64) {
	if v == 0 {
		*n = append(*n, key)
	}
}

func (n *needs) optional(key string, v *float64) {
	if v == nil {
		*n = append(*n, key)
	}
}
