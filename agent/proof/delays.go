package proof

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"sync"

	"weepd/rules/weep"
)

// Mean is a mean of simulated values with its standard error.
type Mean struct {
	Mean  float64 `json:"mean"`
	Error float64 `json:"standard_error"`
	sum   float64
	sum2  float64
	n     float64
}

func (m *Mean) add(v float64) {
	m.n++
	m.sum += v
	m.sum2 += v * v
	m.Mean = m.sum / m.n
	m.Error = math.Sqrt(max(0, m.sum2/m.n-m.Mean*m.Mean) / m.n)
}

// Row is all that is known of one change at one shape. Times are seconds.
type Row struct {
	Change
	Shape         int       `json:"shape"`
	Detector      Mean      `json:"detector"`       // has learned for two hours
	DetectorOdd   Mean      `json:"detector_odd"`   // and 2 % splash, 2 % missed
	DetectorFresh Mean      `json:"detector_fresh"` // after ten minutes
	Early         int       `json:"early"`          // alarms before the change, in all of these
	FreshYears    float64   `json:"fresh_years"`    // first two hours at the edge of the band, together
	FreshAlarms   int       `json:"fresh_alarms"`   // in these
	FromEdge      Reference `json:"from_edge"`
	FromOld       Reference `json:"from_old"`
	Minute        Counting  `json:"minute"`    // a 1-minute window
	Fives         Counting  `json:"two_fives"` // two consecutive 5-minute windows
}

// Reference is the best possible delay from a level, and its bound.
type Reference struct {
	Threshold float64 `json:"threshold"`
	Cusum     float64 `json:"cusum"`     // from the integral equation
	Simulated Mean    `json:"simulated"` // the same CUSUM, played
	Lorden    float64 `json:"lorden"`
}

// Counting is a window with its delay.
type Counting struct {
	Window Window `json:"window"`
	Delay  Mean   `json:"delay"`
}

// Ratio is the detector's delay over the best possible from the edge.
func (r Row) Ratio() float64 { return r.Detector.Mean / r.FromEdge.Cusum }

// OddRatio is the same with splash and missed drops.
func (r Row) OddRatio() float64 { return r.DetectorOdd.Mean / r.FromEdge.Cusum }

// Ahead reports that the detector beats both windows.
func (r Row) Ahead() bool {
	return r.Detector.Mean < r.Minute.Delay.Mean && r.Detector.Mean < r.Fives.Delay.Mean
}

const (
	learnSeconds = 2 * 3600.0
	freshSeconds = 600.0
	oddShare     = 0.02
)

// Delays measures every target change at shapes 1 and 4 by so many runs.
func Delays(ctx context.Context, runs, workers int) ([]Row, error) {
	var rows []Row
	for _, c := range TargetChanges() {
		for _, shape := range []int{1, 4} {
			rows = append(rows, Row{Change: c, Shape: shape})
		}
	}
	faults := make([]error, len(rows))
	work := make(chan int)
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			models := weep.NewModels() // not to be shared with the others
			for i := range work {
				faults[i] = rows[i].measure(ctx, rand.New(rand.NewPCG(uint64(i), 3)), models, runs)
			}
		})
	}
	for i := range rows {
		if ctx.Err() == nil {
			work <- i
		}
	}
	close(work)
	group.Wait()
	return rows, errors.Join(append(faults, ctx.Err())...)
}

func (r *Row) measure(ctx context.Context, rng *rand.Rand, m *weep.Models, runs int) (err error) {
	r.measureDetector(ctx, rng, m, runs)
	if r.FromEdge, err = reference(rng, float64(r.Shape), r.EdgeDPM(), r.ToDPM, runs); err != nil {
		return err
	}
	if r.FromOld, err = reference(rng, float64(r.Shape), r.FromDPM, r.ToDPM, runs); err != nil {
		return err
	}
	if r.Minute, err = r.counting(rng, Window{Span: 60, InRow: 1, Low: r.low()}, runs); err != nil {
		return err
	}
	r.Fives, err = r.counting(rng, Window{Span: 300, InRow: 2, Low: r.low()}, runs)
	return err
}

func (r *Row) measureDetector(ctx context.Context, rng *rand.Rand, m *weep.Models, runs int) {
	for _, trial := range []struct {
		into         *Mean
		odd, learned float64
	}{{&r.Detector, 0, learnSeconds}, {&r.DetectorOdd, oddShare, learnSeconds}, {&r.DetectorFresh, 0, freshSeconds}} {
		t := Trial{Change: r.Change, Shape: float64(r.Shape), Splash: trial.odd, Missed: trial.odd, Learned: trial.learned}
		for i := 0; i < runs && ctx.Err() == nil; i++ {
			if seconds, early := t.Delay(rng, m); early {
				r.Early++
			} else {
				trial.into.add(seconds)
			}
		}
	}
	t := Trial{Change: r.Change, Shape: float64(r.Shape), Splash: oddShare, Missed: oddShare}
	for i := 0; i < runs && ctx.Err() == nil; i++ {
		if t.QuietAtEdge(rng, m, learnSeconds) {
			r.FreshAlarms++
		}
	}
	r.FreshYears = float64(runs) * learnSeconds / yearSeconds
}

func reference(rng *rand.Rand, shape, fromDPM, toDPM float64, runs int) (Reference, error) {
	c, err := OptimalCusum(shape, fromDPM/60, toDPM/60, yearSeconds)
	if err != nil {
		return Reference{}, err
	}
	ref := Reference{Threshold: c.Threshold, Lorden: LordenDelay(shape, c.From, c.To, yearSeconds)}
	if ref.Cusum, err = c.RunLength(c.To); err != nil {
		return ref, err
	}
	for range runs {
		ref.Simulated.add(c.Simulated(rng, c.To))
	}
	return ref, nil
}

// counting sets a window's limit to one false alarm a year at the edge, as the
// detector promises, and plays the change. No drop splashes or is missed.
func (r *Row) counting(rng *rand.Rand, w Window, runs int) (Counting, error) {
	w, err := w.SetLimit(r.Shape, r.EdgeDPM()/60, yearSeconds)
	c := Counting{Window: w}
	if err != nil {
		return c, err
	}
	for range runs {
		c.Delay.add(w.Delay(rng, float64(r.Shape), r.FromDPM, r.ToDPM))
	}
	return c, nil
}
