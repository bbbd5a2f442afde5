package config

import (
	"cmp"
	"fmt"
	"regexp"
	"time"
	_ "time/tzdata" // gateways may lack the system's table of time zones
)

// Water is what the water that a gland loses costs.
type Water struct {
	PricePerM3 float64 // 0: not known
	Currency   string  // for people
}

const (
	maxCurrency = 8
	maxZone     = 64
)

func priceBounds() bounds {
	return bounds{0, 10_000, true, "a price of a cubic metre, above 0 and at most 10000"}
}

func (d *decoder) water(w *Water, e entry) placed {
	set := d.mapping(e,
		field{"price_per_m3", d.number(&w.PricePerM3, priceBounds())},
		field{"currency", d.text(&w.Currency, maxCurrency, fmt.Sprintf("a currency of up to %d characters, such as EUR", maxCurrency), nil)},
	)
	if at, given := set["currency"]; given && !has(set, "price_per_m3") {
		d.fault(at, "add `price_per_m3:`, or remove the line", "water.currency without water.price_per_m3")
	}
	return set
}

// A name as the IANA's table has them, so that none leads out of the folder
// where the table lies.
var zonePattern = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*$`)

// zone reads the name of a time zone.
func (d *decoder) zone(dst **time.Location) func(entry) {
	const want = "a name of the IANA time zone database, such as Europe/Berlin or UTC"
	return func(e entry) {
		var name string
		d.text(&name, maxZone, want, zonePattern.MatchString)(e)
		if name == "" {
			return
		}
		zone, err := time.LoadLocation(name)
		if err != nil {
			d.fault(e.at, "want "+want, "%s is %s, which is not in the database", e.path, quoted(name))
			return
		}
		*dst = zone
	}
}

// station reads the keys that are about the whole station.
func (d *decoder) stationFields(cfg *Config) []field {
	cfg.origins = make(map[string]string)
	note := func(key string, read func(entry)) func(entry) {
		return func(e entry) {
			cfg.origins[key] = fmt.Sprintf("line %d", e.key.line)
			read(e)
		}
	}
	return []field{
		{"time_zone", note("time_zone", d.zone(&cfg.TimeZone))},
		{"advice_file", note("advice_file", d.path(&cfg.AdviceFile))},
		{"water", func(e entry) {
			for key, at := range d.water(&cfg.Water, e) {
				cfg.origins["water."+key] = fmt.Sprintf("line %d", at.line)
			}
		}},
	}
}

// Zone is where the station is, for weeks and for times that people read: the
// machine's zone where the file has none.
func (c *Config) Zone() *time.Location {
	return cmp.Or(c.TimeZone, time.Local)
}

// Settings lists what is in force for the whole station beside its alarms.
func (c *Config) Settings() []Setting {
	from := func(key, otherwise string) string { return cmp.Or(c.origins[key], "default: "+otherwise) }
	zone := "the machine's"
	if c.TimeZone != nil {
		zone = c.TimeZone.String()
	}
	list := []Setting{
		{"time_zone", zone, from("time_zone", "where the agent's machine is set to")},
		{"advice_file", cmp.Or(c.AdviceFile, "none"), from("advice_file", "the texts that weepd brings along")},
	}
	if c.Water.PricePerM3 > 0 {
		price := fmt.Sprintf("%g %s", c.Water.PricePerM3, c.Water.Currency)
		list = append(list, Setting{"water.price_per_m3", price, from("water.price_per_m3", "none")})
	}
	return append(list, c.serviceSettings()...)
}
