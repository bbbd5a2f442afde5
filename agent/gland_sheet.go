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
			return cfg.Sheet(g), true
		}
	}
	return sheet.Sheet{}, false
}
