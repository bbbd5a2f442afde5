package config

import "weepd/rules/sheet"

// boxWarnings says which rows of the gland sheet are worth telling where the
// configuration is read, and where each stands.
var boxWarnings = []struct{ row, key string }{
	{"section_mm", "packing.section_mm"},
	{"rings", "packing.rings"},
	{"lantern_mm", "packing.lantern_after"},
	{"flush_over_bar", "stuffing_box.flush_bar"},
	{"duty_c", "packing.family"},
	{"duty_m_s", "packing.family"},
	{"duty_bar", "packing.family"},
	{"unfit", "packing.family"},
}

// boxOdd warns of a box and a packing that do not go together.
func (d *decoder) boxOdd(cfg *Config, g Gland) {
	made := cfg.Sheet(g)
	for _, w := range boxWarnings {
		row, found := made.Row(w.row)
		for _, text := range row.Warnings {
			if found {
				d.warn(g.at(w.key), "see `weepd sheet "+g.ID+"`, and ask maker and supplier", "%s: %s", row.What, text)
			}
		}
	}
}

// Sheet works out the sheet of a gland.
func (c *Config) Sheet(g Gland) sheet.Sheet {
	return sheet.Make(c.SheetInput(g))
}

// SheetInput is what the sheet of a gland is worked out from.
func (c *Config) SheetInput(g Gland) sheet.Input {
	return sheet.Input{
		Gland: g.ID, Name: g.Name, Box: g.StuffingBox, Packing: g.Packing,
		NormalDPM: g.NormalDPM, LeakDPM: g.Limits.LeakDPM, RiseC: g.Limits.RiseC, DropML: g.DropML,
		PricePerM3: c.Water.PricePerM3, Currency: c.Water.Currency,
	}
}
