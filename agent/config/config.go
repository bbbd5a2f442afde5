package config

import (
	"log/slog"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// Config is a whole, valid configuration with its defaults filled in.
type Config struct {
	Station string  // id of the station: topics, labels, the page
	Glands  []Gland // at least one, in the order of the file
	MQTT    *MQTT   // nil: nothing is published over MQTT
	Alarms  Alarms
	Store   Store
	HTTP    HTTP
	Log     Log
}

// Gland is one packed gland with its limits in force.
type Gland struct {
	ID        string // `[A-Za-z0-9_-]{1,32}`, unique
	Name      string // for people; the id where none is given
	Fibre     Fibre  // of the packing
	NormalDPM float64
	// DropML is the volume of one drop in millilitres as measured at the gland; 0
	// where nobody has.
	DropML  float64
	Limits  rules.Limits
	Timing  rules.Timing
	Sensors Sensors

	origins map[string]string // key of a setting -> where its value comes from
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

// Source says where the readings of a point come from. Exactly one is set.
type Source struct {
	GPIO      *GPIO
	File      *File
	Recording *Recording
	Simulated *Simulated
}

// Kind gives the source's word in the configuration.
func (s Source) Kind() string {
	switch {
	case s.GPIO != nil:
		return sourceGPIO
	case s.File != nil:
		return sourceFile
	case s.Recording != nil:
		return sourceRecording
	default:
		return sourceSimulated
	}
}

// GPIO is a digital input line: pulses of drops, or the shaft's run contact.
type GPIO struct {
	Pin      string        // e.g. GPIO17; a bare number in the file means GPIO<number>
	Edge     string        // falling or rising: the edge of a drop; for run: falling = low means turning
	Pull     string        // up, down or none
	Debounce time.Duration // edges closer to the one before are contact bounce; 0 = none
}

// File is a number in a file, as the kernel's sensor nodes give it:
// value = content * Scale + Offset, in °C for temp and ref, 0 or 1 for run.
type File struct {
	Path    string        // a relative one in the file starts at the configuration's folder
	Scale   float64       // e.g. 0.001 for nodes in thousandths of a degree; not 0
	Offset  float64       // in the unit of the point
	Every   time.Duration // how often it is read
	Timeout time.Duration // how long one read may take; at most Every
}

// Recording plays one point of a recording.
type Recording struct {
	Path  string        // a relative one in the file starts at the configuration's folder
	Speed float64       // 1 = as fast as it was recorded
	Point reading.Point // the point of the recording that is played
}

// Simulated is a simulated gland. All simulated points of a gland are the
// same one, so they share these values.
type Simulated struct {
	DPM   float64 // mean weep, drops per minute
	Shape float64 // regularity of the drops: shape of the gamma-distributed intervals, 1 = random
	Seed  int64   // the same seed gives the same run
}

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
}

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
		for kind, source := range g.Sensors {
			gc.Fitted[kind] = source != nil
		}
		out.Glands = append(out.Glands, gc)
	}
	return out
}
