package simulated

import "time"

// DemoGland is a gland of the demonstration, with what a configuration for it
// needs beside the simulation.
type DemoGland struct {
	Gland
	Name      string
	Fibre     string  // natural or synthetic
	NormalDPM float64 // what it is set to
	DryDPM    float64
	LeakDPM   float64
	GushDPM   float64
	RiseC     float64
}

// What happens in the demonstration, after its start.
const (
	DemoDryAfter  = 12 * time.Second // p1-de runs dry and heats up
	DemoLeakAfter = 15 * time.Second // p2-nde leaks too much
	demoPast      = 3 * time.Hour
)

// DemoGlands is the invented station `quarry`: three pumps that keep a quarry
// dry, each with two glands. All limits leave the quiet glands well inside the
// band in which no alarm may come (1.3 x DryDPM to LeakDPM / 1.3).
func DemoGlands() []DemoGland {
	glands := []DemoGland{
		demoGland("p1-de", "Pump 1, drive end", "synthetic", 60, 30, 90),
		demoGland("p1-nde", "Pump 1, non-drive end", "synthetic", 50, 30, 90),
		demoGland("p2-de", "Pump 2, drive end", "natural", 35, 15, 60),
		demoGland("p2-nde", "Pump 2, non-drive end", "natural", 45, 15, 60),
		demoGland("p3-de", "Pump 3, drive end", "synthetic", 55, 30, 90),
		demoGland("p3-nde", "Pump 3, non-drive end", "natural", 30, 15, 60),
	}
	dry, leak := &glands[0].Gland, &glands[3].Gland
	// A smaller gland whose packing grips when dry, so that it is hot before
	// the spectator leaves.
	dry.Friction.MuDry = 0.3
	dry.Heat.CapacityJK, dry.Heat.LiquidWK = 900, 38
	dry.Events = []Event{{At: DemoDryAfter, Kind: Dry, ToDPM: 4, Over: 2 * time.Second}}
	leak.Events = []Event{{At: DemoLeakAfter, Kind: Leak, ToDPM: 150, Over: 2 * time.Second}}
	return glands
}

func demoGland(id, name, fibre string, dpm, dry, leak float64) DemoGland {
	return DemoGland{
		Gland: Gland{
			ID:          id,
			DPM:         dpm,
			Shape:       defaultShape,
			SplashShare: 0.005,
			MissShare:   0.005,
			TempEvery:   2 * time.Second,
			Friction:    DefaultFriction(),
			Heat:        DefaultHeat(),
		},
		Name: name, Fibre: fibre, NormalDPM: dpm, DryDPM: dry, LeakDPM: leak, GushDPM: 200, RiseC: 25,
	}
}

// DemoStation is the simulation of DemoGlands with three hours of past.
func DemoStation() Station {
	s := Station{Seed: 20260301, Past: demoPast}
	for _, g := range DemoGlands() {
		s.Glands = append(s.Glands, g.Gland)
	}
	return s
}
