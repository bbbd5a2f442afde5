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
	return w.feeds, errors.Join(w.errs...)
}

type wiring struct {
	clock *Clock
	feeds []Feed
	errs  []error
	plays map[string]*play // by path
	order []*play
	live  bool // some source is bound to real time
}

// play is a recording and the points of the station that it is played to.
type play struct {
	path  string
	speed float64
	to    map[reading.Point][]reading.Point
	from  []reading.Point
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
		}
	}
}

func (w *wiring) recording(p reading.Point, r *config.Recording) {
	r0, known := w.plays[r.Path]
	if !known {
		r0 = &play{path: r.Path, speed: r.Speed, to: make(map[reading.Point][]reading.Point)}
		w.plays[r.Path] = r0
		w.order = append(w.order, r0)
	}
	if len(r0.to[r.Point]) == 0 {
		r0.from = append(r0.from, r.Point)
	}
	r0.to[r.Point] = append(r0.to[r.Point], p)
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
		source, err := recording.New(recording.Config{Path: r.path, Speed: r.speed, Points: r.from}, w.clock.Unhurried())
		if err != nil {
			w.errs = append(w.errs, err)
			continue
		}
		w.feeds = append(w.feeds, FixedFeed(&renamed{source, r.to}))
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
	if p.Kind != reading.Drip {
		w.errs = append(w.errs, fmt.Errorf("%s: source gpio gives drip only; use source file for %s", p, p.Kind))
		return
	}
	w.feeds = append(w.feeds, Feed{
		Name: "gpio " + g.Pin, Points: []reading.Point{p},
		Open: func() (sensors.Source, error) {
			return gpio.Open(gpio.Config{Pin: g.Pin, Edge: g.Edge, Pull: g.Pull, Debounce: g.Debounce}, p.Gland, w.clock.Steady)
		},
	})
}
