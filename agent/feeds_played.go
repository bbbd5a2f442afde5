package agent

import (
	"fmt"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors/recording"
	"weepd/sensors/simulated"
)

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
		if i == 0 && w.clock.Speed != r.speed { // never while the clock is in use: see CheckSpeed
			w.clock.Speed = r.speed
		}
		source, err := recording.New(recording.Config{Path: r.path, Speed: r.speed, Routes: r.routes}, w.clock.Unhurried())
		if err != nil {
			w.errs = append(w.errs, err)
			continue
		}
		w.made = append(w.made, FixedFeed(source))
	}
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
	w.made = append(w.made, FixedFeed(source))
}
