package suggest

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"weepd/rules"
	"weepd/rules/reading"
)

// start is a whole block, as times of recordings are Unix times.
const start = 1_772_409_600 * time.Second

func point(k reading.Kind) reading.Point { return reading.Point{Gland: "p1", Kind: k} }

// record makes days of a gland at 10 drops a minute (so few, as tests count drops) with gamma intervals, and a
// rise of 8 °C; at the given hours the weep is another one for a quarter of an hour.
func record(days float64, odd map[float64]float64) []reading.Reading {
	const shape = 3.0
	rng := rand.New(rand.NewPCG(1, 2))
	var rows []reading.Reading
	add := func(at float64, k reading.Kind, v float64) {
		rows = append(rows, reading.Reading{At: start + time.Duration(at*1e9), Point: point(k), Value: v})
	}
	add(0, reading.Run, 1)
	slow := 0.0
	for now := 0.0; now < days*86400; {
		dpm := 10.0
		for hour, other := range odd {
			if now >= hour*3600 && now < hour*3600+900 {
				dpm = other
			}
		}
		now += distuv.Gamma{Alpha: shape, Beta: shape * dpm / 60, Src: rng}.Rand()
		for ; slow < now; slow += 58 {
			add(slow, reading.Temp, 26+0.05*rng.NormFloat64())
			add(slow, reading.Ref, 18+0.05*rng.NormFloat64())
		}
		add(now, reading.Drip, 1)
	}
	return rows
}

func gland() rules.GlandConfig {
	return rules.GlandConfig{
		ID: "p1", NormalDPM: 10, Fitted: rules.Fitted{true, true, true, true},
		Limits: rules.Limits{DryDPM: 4, LeakDPM: 22, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
		Timing: rules.Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
	}
}

// studied runs a study over rows.
func studied(t *testing.T, rows []reading.Reading, o Options) map[Limit]Finding {
	t.Helper()
	s := New([]rules.GlandConfig{gland()}, o)
	var stations []*rules.Station
	for _, cfg := range s.Configs() {
		station, err := rules.NewStation(cfg)
		if err != nil {
			t.Fatal(err)
		}
		stations = append(stations, station)
	}
	for _, r := range rows {
		s.Row(r)
		for i, station := range stations {
			out, err := station.Feed(r)
			if err != nil {
				t.Fatal(err)
			}
			for _, tr := range out {
				s.Transition(i, tr)
			}
		}
	}
	s.Choose()
	for _, r := range rows {
		s.Collect(r)
	}
	found := map[Limit]Finding{}
	for _, f := range s.Report() {
		found[f.Limit] = f
	}
	return found
}

func options() Options {
	return Options{
		Limits: Limits(), Factors: []float64{1, 1.25}, Budgets: []float64{1}, MostPerMonth: 20,
		MostDryDPM: map[string]float64{"p1": 30},
	}
}

// Eight days with three short dry spells: what injecting shows is what the theory
// says, and each limit's proposal follows from its rules.
func TestStudyOfEightDays(t *testing.T) {
	o := options()
	found := studied(t, record(8, map[float64]float64{30: 0.5, 80: 0.5, 130.3: 0.5}), o)
	dry := found[Dry]
	if !dry.Enough || dry.Stretches != mostStretches || math.Abs(dry.Watched-8) > 0.01 || math.Abs(dry.Usual50-10) > 0.5 {
		t.Fatalf("%+v", dry)
	}
	if dry.Regularity < 1.8 || dry.Regularity > 3 {
		t.Errorf("regularity %g learned of 3; want a cautious one", dry.Regularity)
	}
	for _, f := range found {
		theoryAgrees(t, f)
	}
	if p := dry.Proposal; p.Keep || p.Value != 5 || p.Looser {
		t.Errorf("dry: %+v", p)
	}
	for _, c := range dry.Candidates {
		if c.Alarms != 3 || c.Low95 > c.PerMonth || c.High95 < c.PerMonth {
			t.Errorf("dry %g, %g a year: %d alarms, %g (%g to %g) a month", c.Value, c.Budget, c.Alarms, c.PerMonth, c.Low95, c.High95)
		}
	}
	o.MostPerMonth, o.Limits, o.Factors, o.Budgets = 1, []Limit{Dry}, []float64{1}, []float64{1}
	if p := studied(t, record(8, map[float64]float64{30: 0.5, 80: 0.5, 130.3: 0.5}), o)[Dry].Proposal; !p.Keep || len(p.Reasons) < 2 {
		t.Errorf("three alarms in eight days, one a month accepted: %+v", p)
	}
}

func theoryAgrees(t *testing.T, f Finding) {
	t.Helper()
	for _, c := range f.Candidates {
		for _, d := range c.Delays {
			if d.Within {
				continue
			}
			if d.Found != d.Tried || d.Early > 0 {
				t.Errorf("%s %g: change of %g found in %d of %d, %d before it", f.Limit, c.Value, d.Size, d.Found, d.Tried, d.Early)
			}
			if ratio := d.Theory / d.Median; math.Abs(math.Log(ratio)) > math.Log(1.4) {
				t.Errorf("%s %g, %g a year, change to %g: theory %.1f s, injected %.1f s", f.Limit, c.Value, c.Budget, d.Size, d.Theory, d.Median)
			}
		}
	}
}

func TestTooLittleRecord(t *testing.T) {
	few := Options{Limits: []Limit{Dry}, Factors: []float64{1}, Budgets: []float64{1}}
	for _, c := range []struct {
		days float64
		want string
	}{{0.01, "15 minutes were watched with the shaft turning, want 7 days"}, {3, "3.0 days were watched with the shaft turning, want 7 days"}} {
		f := studied(t, record(c.days, nil), few)[Dry]
		if f.Enough || f.TooLittle != c.want || f.Proposal != nil || len(f.Candidates) > 0 {
			t.Errorf("%g days: %+v", c.days, f)
		}
	}
	var restless []reading.Reading // stops every two hours
	for _, r := range record(10, nil) {
		hours := int((r.At - start).Hours())
		if hours%2 == 1 && (len(restless) == 0 || int((restless[len(restless)-1].At-start).Hours())%2 == 0) {
			restless = append(restless, reading.Reading{At: r.At, Point: point(reading.Run), Value: 0})
		} else if hours%2 == 0 && len(restless) > 0 && int((restless[len(restless)-1].At-start).Hours())%2 == 1 {
			restless = append(restless, reading.Reading{At: r.At, Point: point(reading.Run), Value: 1})
		}
		restless = append(restless, r)
	}
	if f := studied(t, restless, few)[Dry]; f.Enough || f.TooLittle != "5.0 days were watched with the shaft turning, want 7 days" {
		t.Errorf("half of ten days: %+v", f)
	}
}

// A gland that never drips and one whose sensors spoke once are no ground for a
// proposal, and no harm.
func TestNothingToLearnFrom(t *testing.T) {
	o := Options{Limits: Limits(), Factors: []float64{1}, Budgets: []float64{1}}
	var dry, once []reading.Reading
	once = append(once, reading.Reading{At: start, Point: point(reading.Drip), Value: 1},
		reading.Reading{At: start, Point: point(reading.Ref), Value: 18}, reading.Reading{At: start, Point: point(reading.Temp), Value: 26})
	for at := start; at < start+9*24*time.Hour; at += 50 * time.Second {
		dry = append(dry, reading.Reading{At: at, Point: point(reading.Drip)})
		once = append(once, reading.Reading{At: at, Point: point(reading.Run), Value: 1})
	}
	for name, rows := range map[string][]reading.Reading{"dry": dry, "once": once} {
		for l, f := range studied(t, rows, o) {
			if f.Enough || f.Proposal != nil || f.TooLittle == "" {
				t.Errorf("%s, %s: %+v", name, l, f)
			}
		}
	}
}
