package proof

import (
	"context"
	"math"
	"math/rand/v2"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// Year is what the core made of a scene.
type Year struct {
	Scene  Scene   `json:"scene"`
	Years  float64 `json:"years"`
	Drops  uint64  `json:"drops"`
	Alarms []Alarm `json:"alarms"`
}

// Alarm is a false one.
type Alarm struct {
	Condition string  `json:"condition"`
	Day       float64 `json:"day"` // since the scene began
	Message   string  `json:"message"`
}

const (
	daySeconds  = 86400.0
	yearDays    = 365.25
	yearSeconds = yearDays * daySeconds
)

// Run feeds a scene of so many days to a station of one gland.
func (s Scene) Run(ctx context.Context, days float64) (Year, error) {
	station, err := rules.NewStation(s.config())
	if err != nil {
		return Year{}, err
	}
	w := &watch{scene: s, station: station, rng: rand.New(rand.NewPCG(uint64(s.Index), 2)), turning: true}
	w.drip = NewDrip(w.rng, s.Shape, s.weep(0), s.Splash, s.Missed)
	w.metalC = w.referenceC(0) + s.RiseC
	w.turnAt = w.stretch()
	if s.Signal {
		w.feed(0, reading.Run, 1)
	}
	for w.now < days*daySeconds && w.err == nil {
		w.slow()
		if ctx.Err() != nil {
			return Year{}, ctx.Err()
		}
	}
	return Year{Scene: s, Years: days / yearDays, Drops: w.drops, Alarms: w.alarms}, w.err
}

// weep is the weep of the turning gland at a time, dpm: a day's cycle and a
// slower one, together always within the scene's range.
func (s Scene) weep(t float64) float64 {
	cycle := 0.7*math.Sin(2*math.Pi*t/daySeconds) + 0.3*math.Sin(2*math.Pi*t/(9.1*daySeconds))
	return s.LowDPM * math.Pow(s.HighDPM/s.LowDPM, (1+cycle)/2)
}

// watch is a scene being played.
type watch struct {
	scene   Scene
	station *rules.Station
	rng     *rand.Rand
	drip    *Drip
	now     float64 // s
	turning bool
	turned  float64 // when it last started or stopped
	turnAt  float64 // when it next does
	metalC  float64
	lastRow float64 // of drops
	drops   uint64
	alarms  []Alarm
	err     error
}

// epoch keeps simulated times like real ones: steady time starts near Unix time.
const epoch = 1_750_000_000 * time.Second

func (w *watch) feed(t float64, kind reading.Kind, value float64) {
	out, err := w.station.Feed(reading.Reading{
		At:    epoch + time.Duration(t*1e9),
		Point: reading.Point{Gland: sceneGland, Kind: kind}, Value: value,
	})
	if err != nil {
		w.err = err
	}
	for _, tr := range out {
		if tr.Active {
			day := (tr.At - epoch).Seconds() / daySeconds
			w.alarms = append(w.alarms, Alarm{tr.Condition.String(), day, tr.Message})
		}
	}
}

// slow plays up to the next temperature reading or turn of the shaft.
func (w *watch) slow() {
	end := w.now + w.scene.Every*(0.99+0.02*w.rng.Float64())
	turns := w.turnAt < end
	if turns {
		end = w.turnAt
	}
	w.dripTo(end)
	w.warm(end - w.now)
	w.now = end
	if turns {
		w.turn()
	} else {
		w.feed(end, reading.Temp, w.measured(w.metalC))
		w.feed(end+0.004, reading.Ref, w.measured(w.referenceC(end)))
	}
	w.drip.SetRate(end, w.dpm())
}

func (w *watch) dripTo(end float64) {
	for at := w.drip.Due(); at < end; at = w.drip.Due() {
		if w.drip.Take() {
			w.drops++
			w.lastRow = at
			w.feed(at, reading.Drip, 1)
		}
	}
	if end-w.lastRow > 30 { // watched, and nothing fell
		w.lastRow = end
		w.feed(end, reading.Drip, 0)
	}
}

// dpm is the weep now: at rest it is the standing leak; after a start it comes
// back within half a minute.
func (w *watch) dpm() float64 {
	full := w.scene.weep(w.now)
	if !w.turning {
		return full * w.scene.Standing
	}
	if w.turned == 0 || w.now-w.turned > 30 {
		return full
	}
	return full * (w.scene.Standing + (1-w.scene.Standing)*(w.now-w.turned)/30)
}

func (w *watch) turn() {
	w.turning = !w.turning
	w.turned = w.now
	w.turnAt = w.now + w.stretch()
	value := 0.0
	if w.turning {
		value = 1
	}
	w.feed(w.now, reading.Run, value)
}

// stretch is how long the shaft turns, or rests.
func (w *watch) stretch() float64 {
	if w.scene.Stops == 0 {
		return math.Inf(1)
	}
	if w.turning {
		return 60 + w.rng.ExpFloat64()*7*daySeconds/w.scene.Stops
	}
	return between(w.rng, 30, min(86400, 2*daySeconds/w.scene.Stops))
}

// warm lets the metal follow what it tends to.
func (w *watch) warm(seconds float64) {
	target := w.referenceC(w.now)
	if w.turning {
		target += w.scene.RiseC + 1.5*math.Sin(2*math.Pi*w.now/(1.7*daySeconds))
	}
	w.metalC += (target - w.metalC) * -math.Expm1(-seconds/w.scene.Lag)
}

func (w *watch) referenceC(t float64) float64 {
	return 18 + 6*math.Sin(2*math.Pi*t/yearSeconds) + w.scene.SwingC*math.Sin(2*math.Pi*t/daySeconds+1)
}

// measured is what a sensor with noise and steps of 1/16 °C reads.
func (w *watch) measured(c float64) float64 {
	return math.Round((c+w.scene.NoiseC*w.rng.NormFloat64())*16) / 16
}
