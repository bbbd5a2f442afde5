package agent

import (
	"errors"
	"fmt"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/file"
	"weepd/sensors/gpio"
	"weepd/sensors/recording"
	"weepd/sensors/simulated"
)

// Glands gives what the configuration says of the glands.
func Glands(cfg *config.Config) []GlandInfo {
	var out []GlandInfo
	for i, g := range cfg.Rules().Glands {
		out = append(out, GlandInfo{Name: cfg.Glands[i].Name, Rules: g})
	}
	return out
}

// Feeds makes the sources of a configuration and sets the clock's speed. What
// is wrong for good is an error, all of it at once; what may come and go, such
// as a file, is tried again while the agent runs.
func Feeds(cfg *config.Config, clock *Clock) ([]Feed, error) {
	w := wiring{clock: clock, plays: make(map[string]*play)}
	for _, g := range cfg.Glands {
		w.gland(g)
	}
	w.recordings()
	w.simulation()
	return w.feeds, errors.Join(w.errs...)
}

type wiring struct {
	clock *Clock
	feeds []Feed
	errs  []error
	plays map[string]*play // by path
	order []*play
	sim   simulated.Station
	live  bool // some source is bound to real time
}

// play is a recording and the points of the station that it is played to.
type play struct {
	path   string
	speed  float64
	routes []recording.Route
}

func (w *wiring) gland(g config.Gland) {
	for kind, s := range g.Sensors {
		if s == nil {
			continue
		}
		p := reading.Point{Gland: g.ID, Kind: reading.Kind(kind)}
		if s.Recording != nil {
			w.recording(p, s.Recording)
			continue
		}
		w.live = true
		switch {
		case s.File != nil:
			w.file(p, s.File)
		case s.GPIO != nil:
			w.gpio(p, s.GPIO)
		case s.Simulated != nil:
			w.simulated(p, s.Simulated)
		}
	}
}

func (w *wiring) recording(p reading.Point, r *config.Recording) {
	r0, known := w.plays[r.Path]
	if !known {
		r0 = &play{path: r.Path, speed: r.Speed}
		w.plays[r.Path] = r0
		w.order = append(w.order, r0)
	}
	r0.routes = append(r0.routes, recording.Route{Recorded: r.Point, As: p})
}

// recordings makes one source of each recording, and the clock as fast as they.
func (w *wiring) recordings() {
	for i, r := range w.order {
		if r.speed != 1 && w.live || r.speed != w.order[0].speed {
			w.errs = append(w.errs, fmt.Errorf(
				"recording %s: speed %g; a speed other than 1 needs every source to be a recording of the same speed", r.path, r.speed))
			continue
		}
		if i == 0 {
			w.clock.Speed = r.speed
		}
		source, err := recording.New(recording.Config{Path: r.path, Speed: r.speed, Routes: r.routes}, w.clock.Unhurried())
		if err != nil {
			w.errs = append(w.errs, err)
			continue
		}
		w.feeds = append(w.feeds, FixedFeed(source))
	}
}

func (w *wiring) file(p reading.Point, f *config.File) {
	open := func() (sensors.Source, error) {
		return file.New(file.Config{
			Path: f.Path, Scale: f.Scale, Offset: f.Offset, Every: f.Every, Timeout: f.Timeout,
		}, p, w.clock.Steady)
	}
	if source, err := open(); err != nil { // only of its settings
		w.errs = append(w.errs, err)
	} else {
		w.feeds = append(w.feeds, Feed{Name: source.String(), Points: source.Points(), Open: open})
	}
}

func (w *wiring) gpio(p reading.Point, g *config.GPIO) {
	cfg := gpio.Config{Pin: g.Pin, Edge: g.Edge, Pull: g.Pull, Debounce: g.Debounce}
	open := func() (sensors.Source, error) { return gpio.Open(cfg, p.Gland, w.clock.Steady) }
	if p.Kind == reading.Run {
		open = func() (sensors.Source, error) { return gpio.OpenContact(cfg, p.Gland, w.clock.Steady) }
	}
	w.feeds = append(w.feeds, Feed{Name: "gpio " + g.Pin, Points: []reading.Point{p}, Open: open})
}

// simulated adds a point to the one simulation of the station.
func (w *wiring) simulated(p reading.Point, s *config.Simulated) {
	glands := w.sim.Glands
	if n := len(glands); n == 0 || glands[n-1].ID != p.Gland {
		glands = append(glands, simulated.Gland{ID: p.Gland, DPM: s.DPM, Shape: s.Shape, Seed: uint64(s.Seed)})
	}
	last := &glands[len(glands)-1]
	last.Kinds = append(last.Kinds, p.Kind)
	w.sim.Glands = glands
}

func (w *wiring) simulation() {
	if len(w.sim.Glands) == 0 {
		return
	}
	source, err := simulated.New(w.sim, w.clock.Steady)
	if err != nil {
		w.errs = append(w.errs, err)
		return
	}
	w.feeds = append(w.feeds, FixedFeed(source))
}
