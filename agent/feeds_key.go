package agent

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"

	"weepd/agent/config"
	"weepd/rules/reading"
)

// keyed gives each feed a key that says all that the configuration says of it:
// two feeds of one key read the same sensors in the same way.
func keyed(feeds []Feed, cfg *config.Config) []Feed {
	type part struct {
		Point      string
		Source     *config.Source
		Connection *config.ModbusConnection
	}
	for i, f := range feeds {
		var parts []part
		for _, p := range f.Points {
			parts = append(parts, part{p.String(), sourceOf(cfg, p), nil})
			last := &parts[len(parts)-1]
			if last.Source != nil && last.Source.Modbus != nil {
				id := last.Source.Modbus.Connection
				if at := slices.IndexFunc(cfg.Modbus, func(c config.ModbusConnection) bool { return c.ID == id }); at >= 0 {
					last.Connection = &cfg.Modbus[at]
				}
			}
		}
		text, err := json.Marshal(parts)
		if err != nil { // a number that JSON has not: then it never counts as the same
			text = nil
		}
		if sum := sha256.Sum256(text); text != nil {
			feeds[i].Key = string(sum[:])
		}
	}
	return feeds
}

func sourceOf(cfg *config.Config, p reading.Point) *config.Source {
	for _, g := range cfg.Glands {
		if g.ID == p.Gland {
			return g.Sensors[p.Kind]
		}
	}
	return nil
}

// CheckSpeed refuses a configuration whose recordings are played at another
// speed than the clock's: steady time cannot change its pace.
func (c *Clock) CheckSpeed(cfg *config.Config) error {
	speed := 1.0
	for _, g := range cfg.Glands {
		for _, s := range g.Sensors {
			if s != nil && s.Recording != nil {
				speed = s.Recording.Speed
			}
		}
	}
	if speed != c.Speed {
		return fmt.Errorf("recordings are played at speed %g, the agent runs at %g; restart the agent to change the speed", speed, c.Speed)
	}
	return nil
}
