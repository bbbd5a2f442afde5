package config

import (
	"log/slog"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/sheet"
	"weepd/rules/upkeep"
)

// Config is a whole, valid configuration with its defaults filled in.
type Config struct {
	Station string  // id of the station: topics, labels, the page
	Glands  []Gland // at least one, in the order of the file
	Modbus  []ModbusConnection
	MQTT    *MQTT // nil: nothing is published over MQTT
	// RemoteWrite is where metrics are pushed to; nil: they are only scraped.
	RemoteWrite *RemoteWrite
	Alarms      Alarms
	Store       Store
	HTTP        HTTP
	Log         Log
	// Warnings are settings that are allowed and unwise, by position.
	Warnings []Warning

	lines map[string]int // of every key that the file gives

	TimeZone   *time.Location // nil: the machine's; see Zone
	Water      Water
	AdviceFile string // texts of advice instead of our own; empty: none

	origins map[string]string // key of a setting of the station -> where it comes from
}

// Gland is one packed gland with its limits in force.
type Gland struct {
	ID        string // `[A-Za-z0-9_-]{1,32}`, unique
	Name      string // for people; the id where none is given
	Fibre     Fibre  // of the packing
	NormalDPM float64
	// DropML is the volume of one drop in millilitres as measured at the gland; 0
	// where nobody has.
	DropML      float64
	Packing     sheet.Packing
	StuffingBox sheet.Box
	Limits      rules.Limits
	Timing      rules.Timing
	Sensors     Sensors

	origins map[string]string            // key of a setting -> where its value comes from
	places  placed                       // of every key that the file gives, by its path
	line    func(key string) (int, bool) // of a key of a sensor
	shares  [reading.Kinds]bool          // the sensor is another gland's
}

// Fibre is what the packing is made of; it sets the wanted weep.
type Fibre string

// The fibres.
const (
	Natural   Fibre = "natural"
	Synthetic Fibre = "synthetic"
)

// Sensors has the source of each kind of point, nil where none is fitted.
type Sensors [reading.Kinds]*Source

// MQTT is the broker to publish to.
type MQTT struct {
	Broker       string // tcp://host:port or ssl://host:port
	Root         string // first levels of every topic
	ClientID     string
	Username     string // empty: none
	PasswordFile string // empty: none
	TLS          TLS    // used with ssl:// only

	// CommandKeyFile holds the key that commands over MQTT must be signed
	// with; empty: commands need no signature, the broker's access list says
	// who may send them.
	CommandKeyFile string
	CommandWindow  time.Duration // a signed command's time may be off by this much

	// Payload is json or sparkplug: then the station is an edge node of Group,
	// and waits for the primary host HostID if there is one.
	Payload Payload
	Group   string
	HostID  string // empty: none
}

// Payload is how messages are encoded.
type Payload string

// The payloads.
const (
	JSON      Payload = "json"
	Sparkplug Payload = "sparkplug"
)

// TLS has the files of an encrypted connection; empty means not given.
type TLS struct {
	CA         string // certificates to trust instead of the system's
	Cert, Key  string // the agent's own, both or none
	ServerName string // name the broker's certificate must carry, if not the host's
}

// Log is what the agent writes to standard error.
type Log struct {
	Level  slog.Level
	Format string // text or json
}

// Rules gives what the core needs to know.
func (c *Config) Rules() rules.Config {
	out := rules.Config{Glands: make([]rules.GlandConfig, 0, len(c.Glands))}
	for _, g := range c.Glands {
		gc := rules.GlandConfig{ID: g.ID, NormalDPM: g.NormalDPM, Limits: g.Limits, Timing: g.Timing, DropML: g.DropML}
		if b := g.StuffingBox; b.ThreadPitchMM > 0 {
			gc.Nuts = upkeep.Nuts{PitchMM: float32(b.ThreadPitchMM), TravelMM: float32(b.FollowerTravelMM), Flats: uint8(b.NutFlats)}
		}
		for kind, source := range g.Sensors {
			gc.Fitted[kind] = source != nil
		}
		gc.Timing.Settle = c.Alarms.Settle
		// Without a run signal the shaft is inferred where weep and heat allow it.
		gc.InferShaft = !gc.Fitted[reading.Run] && gc.Fitted[reading.Drip] && gc.Fitted[reading.Temp] && gc.Fitted[reading.Ref]
		out.Glands = append(out.Glands, gc)
	}
	return out
}
