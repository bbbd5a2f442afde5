package agent

import (
	"context"
	"errors"
	"log/slog"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/counter"
	"weepd/sensors/file"
	"weepd/sensors/gpio"
	"weepd/sensors/recording"
	"weepd/sensors/rtd"
	"weepd/sensors/simulated"
	"weepd/sensors/speed"
)

// Glands gives what the configuration says of the glands.
func Glands(cfg *config.Config) []GlandInfo {
	var out []GlandInfo
	for i, g := range cfg.Rules().Glands {
		out = append(out, GlandInfo{Name: cfg.Glands[i].Name, Rules: g})
	}
	return out
}

// Feeds makes the sources of a configuration and sets the clock's speed. Points
// that share a chip, bus or connection share its source. What is wrong for good
// is an error, all of it at once; what may come and go, such as a file, is tried
// again while the agent runs. A nil log is silent.
func Feeds(cfg *config.Config, clock *Clock, log *slog.Logger) ([]Feed, error) {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	w := wiring{
		clock: clock, log: log, plays: make(map[string]*play),
		owners: make(map[*config.Source]reading.Point), copies: make(map[reading.Point][]reading.Point),
	}
	for _, g := range cfg.Glands {
		for kind, s := range g.Sensors {
			p := reading.Point{Gland: g.ID, Kind: reading.Kind(kind)}
			if first, shared := w.owners[s]; s != nil && shared {
				w.copies[first] = append(w.copies[first], p)
			} else if s != nil {
				w.owners[s] = p
				w.point(p, s)
			}
		}
	}
	w.shared.feeds(&w)
	w.connections(cfg.Modbus)
	w.recordings()
	w.simulation()
	for i, f := range w.made {
		w.made[i] = copying(f, w.copies)
	}
	made, err := keyed(w.made, cfg), errors.Join(w.errs...)
	w = wiring{clock: clock} // the feeds go on using it, and shall not keep the configuration
	return made, err
}

type wiring struct {
	clock  *Clock
	log    *slog.Logger
	made   []Feed
	errs   []error
	shared shared
	owners map[*config.Source]reading.Point  // the first point with each source
	copies map[reading.Point][]reading.Point // who shares its readings
	plays  map[string]*play                  // by path
	order  []*play
	sim    simulated.Station
	live   bool // some source is bound to real time
}

// play is a recording and the points of the station that it is played to.
type play struct {
	path   string
	speed  float64
	routes []recording.Route
}

func (w *wiring) point(p reading.Point, s *config.Source) {
	w.live = w.live || s.Recording == nil
	switch {
	case s.Recording != nil:
		w.recording(p, s.Recording)
	case s.Simulated != nil:
		w.simulated(p, s.Simulated)
	case s.GPIO != nil:
		w.gpio(p, s.GPIO)
	case s.Counter != nil:
		w.counter(p, s.Counter)
	case s.Speed != nil:
		w.speed(p, s.Speed)
	case s.File != nil:
		w.file(p, s.File)
	case s.RTD != nil:
		w.rtd(p, s.RTD)
	default:
		w.shared.add(p, s)
	}
}

// live makes a feed of a source that New or Open makes without asking the
// device: that it can be made is known at once, and it can be made again.
func live[S sensors.Source](w *wiring, open func() (S, error)) {
	source, err := open()
	if err != nil { // only of its settings
		w.errs = append(w.errs, err)
		return
	}
	w.made = append(w.made, Feed{
		Name: source.String(), Points: source.Points(),
		Open: func() (sensors.Source, error) { return open() },
	})
}

func (w *wiring) file(p reading.Point, f *config.File) {
	cfg := file.Config{Path: f.Path, Scale: f.Scale, Offset: f.Offset, Every: f.Every, Timeout: f.Timeout, Log: w.log}
	live(w, func() (*file.Source, error) { return file.New(cfg, p, w.clock.Steady) })
}

func (w *wiring) counter(p reading.Point, c *config.Counter) {
	cfg := counter.Config{Path: c.Path, Bits: c.Bits, Every: c.Every, Timeout: c.Timeout, Log: w.log}
	live(w, func() (*counter.Source, error) { return counter.New(cfg, p.Gland, w.clock.Steady) })
}

func (w *wiring) speed(p reading.Point, s *config.Speed) {
	cfg := speed.Config{Name: s.Counter, AtLeast: s.AtLeast, Window: s.Window, Bits: s.Bits, Log: w.log}
	pulses := func(context.Context) (uint64, error) { return counter.Read(s.Counter) }
	live(w, func() (*speed.Source, error) { return speed.New(cfg, p.Gland, pulses, w.clock.Steady) })
}

func (w *wiring) rtd(p reading.Point, r *config.RTD) {
	cfg := rtd.Config{
		Bus: r.Bus, NominalOhm: r.NominalOhm, RefOhm: r.RefOhm, Wires: r.Wires, LeadOhm: r.LeadOhm,
		MainsHz: r.MainsHz, Every: r.Every, Timeout: r.Timeout, Log: w.log,
	}
	live(w, func() (*rtd.Source, error) { return rtd.Open(cfg, p, w.clock.Steady) })
}

// gpio opens the line each time, for only then it is known what it is.
func (w *wiring) gpio(p reading.Point, g *config.GPIO) {
	cfg := gpio.Config{Pin: g.Pin, Edge: g.Edge, Pull: g.Pull, Debounce: g.Debounce, DebounceBy: g.DebounceBy, Log: w.log}
	open := func() (sensors.Source, error) { return gpio.Open(cfg, p.Gland, w.clock.Steady) }
	if p.Kind == reading.Run {
		open = func() (sensors.Source, error) { return gpio.OpenContact(cfg, p.Gland, w.clock.Steady) }
	}
	w.made = append(w.made, Feed{Name: "gpio " + g.Pin, Points: []reading.Point{p}, Open: open})
}
