package agent

import (
	"weepd/agent/config"
	"weepd/rules/sheet"
)

// GlandSheet works out the sheet of a gland; false if the configuration has no
// such gland.
func GlandSheet(cfg *config.Config, gland string) (sheet.Sheet, bool) {
	for _, g := range cfg.Glands {
		if g.ID == gland {
			return sheet.Make(sheet.Input{
				Gland: g.ID, Name: g.Name, Box: g.StuffingBox, Packing: g.Packing,
				NormalDPM: g.NormalDPM, LeakDPM: g.Limits.LeakDPM, RiseC: g.Limits.RiseC, DropML: g.DropML,
				PricePerM3: cfg.Water.PricePerM3, Currency: cfg.Water.Currency,
			}), true
		}
	}
	return sheet.Sheet{}, false
}
