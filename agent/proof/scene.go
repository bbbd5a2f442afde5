package proof

import (
	"math"
	"math/rand/v2"
	"time"

	"weepd/rules"
)

// Scene is one quiet gland for a year: everything stays where the false-alarm
// budget is promised, so that any alarm is a false one. Ranges are invented,
// but for those that the promise names.
type Scene struct {
	Index    int     `json:"index"` // also the seed
	Place    Place   `json:"place"` // in the band
	Shape    float64 `json:"shape"` // regularity of the drip
	Splash   float64 `json:"splash"`
	Missed   float64 `json:"missed"`
	DryDPM   float64 `json:"dry_dpm"`
	LeakDPM  float64 `json:"leak_dpm"`
	LowDPM   float64 `json:"low_dpm"` // the weep goes to and fro between these
	HighDPM  float64 `json:"high_dpm"`
	Stops    float64 `json:"stops_per_week"`
	Signal   bool    `json:"run_signal"`     // fitted; without one the shaft never stops
	Standing float64 `json:"standing_share"` // of the weep, at rest
	RiseC    float64 `json:"rise_c"`
	SwingC   float64 `json:"swing_c"` // of the reference, day and night
	NoiseC   float64 `json:"noise_c"` // standard deviation of both sensors
	Every    float64 `json:"every_s"` // between temperature readings
	Lag      float64 `json:"lag_s"`   // of the gland's metal
}

// Place says where in the promised band a scene's weep stays.
type Place string

// The places: all year at one edge, where a steady weep is worst, or anywhere.
const (
	LowEdge  Place = "low-edge"
	HighEdge Place = "high-edge"
	Inside   Place = "inside"
)

var places = [...]Place{Inside, LowEdge, Inside, HighEdge, Inside}

// Limits of a scene other than its weep's.
const (
	sceneRiseC  = 25.0 // limit, °C
	sceneBudget = 1.0  // false alarms a year of each condition
	margin      = 1.3  // the promised band: 1.3 x dry to leak / 1.3
)

// NewScene gives the index-th scene.
func NewScene(index int) Scene {
	rng := rand.New(rand.NewPCG(uint64(index), 1))
	s := Scene{
		Index: index, Place: places[index%len(places)],
		Shape:  between(rng, 1, 12),
		Splash: 0.02 * rng.Float64(), Missed: 0.02 * rng.Float64(),
		Standing: 0.1 + 0.5*rng.Float64(),
		RiseC:    4 + 14.4*rng.Float64(), // with its wave of 1.5 below 0.8 of the limit
		SwingC:   5 * rng.Float64(),
		NoiseC:   0.03 + 0.12*rng.Float64(),
		Every:    20 + 38*rng.Float64(),
		Lag:      180 + 300*rng.Float64(),
	}
	s.Signal = index%6 != 0
	if index%3 != 0 {
		s.Stops = between(rng, 1, 30)
	}
	dpm := between(rng, 15, 90)
	width := between(rng, 3, 8) / (margin * margin) // of the promised band
	switch s.Place {
	case LowEdge:
		s.LowDPM, s.HighDPM = dpm, dpm
		s.DryDPM = dpm / margin
	case HighEdge:
		s.LowDPM, s.HighDPM = dpm, dpm
		s.DryDPM = dpm / width / margin
	default:
		low := dpm * math.Pow(width, -rng.Float64()) // the band's lower edge
		reach := rng.Float64()
		s.LowDPM = low * math.Pow(dpm/low, 1-reach)
		s.HighDPM = dpm * math.Pow(low*width/dpm, reach)
		s.DryDPM = low / margin
	}
	s.LeakDPM = s.DryDPM * width * margin * margin
	return s
}

// between draws from a range, evenly on the scale of ratios.
func between(rng *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, rng.Float64())
}

// sceneGland is the id of the one gland.
const sceneGland = "g"

func (s Scene) config() rules.Config {
	return rules.Config{Glands: []rules.GlandConfig{{
		ID: sceneGland, NormalDPM: math.Sqrt(s.DryDPM * s.LeakDPM),
		Limits: rules.Limits{
			DryDPM: s.DryDPM, LeakDPM: s.LeakDPM, GushDPM: max(200, 2*s.LeakDPM),
			RiseC: sceneRiseC, FalseAlarmsPerYear: sceneBudget,
		},
		Timing:     rules.Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
		Fitted:     rules.Fitted{true, true, true, s.Signal},
		InferShaft: !s.Signal,
	}}}
}
