package config

// simulation is the one simulated gland behind all simulated points of a
// gland; its values may be given at any of them, once or alike.
type simulation struct {
	shared *Simulated
	given  map[string]float64
}

// Defaults of the simulated gland; invented, like the simulation itself.
const (
	defaultSimDPM   = 40
	defaultSimShape = 3
	defaultSimSeed  = 1
)

func (d *decoder) simulated(e entry, sim *simulation, also field) *Simulated {
	if sim.shared == nil {
		sim.shared = &Simulated{DPM: defaultSimDPM, Shape: defaultSimShape, Seed: defaultSimSeed}
		sim.given = map[string]float64{}
	}
	here := Simulated{}
	seen := d.mapping(e, also,
		field{"dpm", d.number(&here.DPM, bounds{0, 1000, false, "drops per minute, from 0 to 1000"})},
		field{"shape", d.number(&here.Shape, bounds{1, 100, false, "regularity of the drops, from 1 (random) to 100 (like a clock)"})},
		field{"seed", d.integer(&here.Seed, "a number such as 7")},
	)
	share := func(key string, value float64, take func()) {
		at, given := seen[key]
		if !given {
			return
		}
		if before, twice := sim.given[key]; twice && before != value {
			d.fault(at, "give it once: all simulated points of a gland are one gland",
				"%s.%s is %g, but %g at another point of this gland", e.path, key, value, before)
			return
		}
		sim.given[key] = value
		take()
	}
	share("dpm", here.DPM, func() { sim.shared.DPM = here.DPM })
	share("shape", here.Shape, func() { sim.shared.Shape = here.Shape })
	share("seed", float64(here.Seed), func() { sim.shared.Seed = here.Seed })
	return sim.shared
}
