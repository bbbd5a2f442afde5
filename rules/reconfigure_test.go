package rules

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// change is what a scenario's `AT set KEY VALUE` does.
type change struct {
	at time.Duration
	do func(*GlandConfig)
}

func parseChanges(t *testing.T, script string) (list []change) {
	t.Helper()
	for line := range strings.Lines(script) {
		f := strings.Fields(line)
		if len(f) != 4 || f[1] != "set" {
			continue
		}
		at, err := time.ParseDuration(f[0])
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		list = append(list, change{at, setting(t, f[2], f[3])})
	}
	return list
}

func setting(t *testing.T, key, value string) func(*GlandConfig) {
	t.Helper()
	number := func(dst func(*GlandConfig) *float64) func(*GlandConfig) {
		v := number64(t, value)
		return func(g *GlandConfig) { *dst(g) = v }
	}
	switch key {
	case "dry_dpm":
		return number(func(g *GlandConfig) *float64 { return &g.Limits.DryDPM })
	case "leak_dpm":
		return number(func(g *GlandConfig) *float64 { return &g.Limits.LeakDPM })
	case "gush_dpm":
		return number(func(g *GlandConfig) *float64 { return &g.Limits.GushDPM })
	case "rise_c":
		return number(func(g *GlandConfig) *float64 { return &g.Limits.RiseC })
	case "false_alarms_per_year":
		return number(func(g *GlandConfig) *float64 { return &g.Limits.FalseAlarmsPerYear })
	case "fitted": // those named, others not
		var fitted Fitted
		for _, word := range strings.Split(value, ",") {
			kind, err := reading.ParseKind(word)
			if err != nil {
				t.Fatal(err)
			}
			fitted[kind] = true
		}
		return func(g *GlandConfig) { g.Fitted = fitted }
	}
	span, err := time.ParseDuration(value)
	if err != nil {
		t.Fatal(err)
	}
	return map[string]func(*GlandConfig){
		"on_delay":    func(g *GlandConfig) { g.Timing.OnDelay = span },
		"off_delay":   func(g *GlandConfig) { g.Timing.OffDelay = span },
		"start_grace": func(g *GlandConfig) { g.Timing.StartGrace = span },
		"run_in":      func(g *GlandConfig) { g.Timing.RunIn = span },
	}[key]
}

// The same configuration again, at any times, changes nothing.
func TestReconfigureToTheSameChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, 2)
		plain, again := propertyStation(t, 2), propertyStation(t, 2)
		var a, b []Transition
		last := readings[0].At
		for _, r := range readings {
			if at := last + time.Duration(rapid.Float64Range(0, 1).Draw(t, "share")*float64(r.At-last)); r.At-last <= MaxSilence {
				b = append(b, reconfigure(t, again, at, configOf(again))...)
			}
			last = r.At
			a = append(a, feed(t, plain, r)...)
			b = append(b, feed(t, again, r)...)
		}
		if fmt.Sprint(a) != fmt.Sprint(b) {
			t.Fatalf("without\n%v\nwith\n%v", a, b)
		}
	})
}

// Whatever is changed: the same changes give the same; alarms turn active and
// cleared by turns; glands that are not touched do not notice; and back at the
// old limits with an old gland and a new one beside it all goes on.
func TestReconfigureKeepsTheOrderOfThings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, 2)
		one, two, untouched := propertyStation(t, 2), propertyStation(t, 2), propertyStation(t, 2)
		active := map[string]bool{}
		var a, b, other []Transition
		for i, r := range readings {
			other = append(other, feed(t, untouched, r)...)
			more, same := feed(t, one, r), feed(t, two, r)
			if i%100 == 3 {
				cfg := drawConfig(t, configOf(one))
				more = append(more, reconfigure(t, one, r.At, cfg)...)
				same = append(same, reconfigure(t, two, r.At, cfg)...)
			}
			for _, tr := range more {
				key := tr.Gland + tr.Condition.String()
				if active[key] == tr.Active || tr.At > r.At || tr.Message == "" {
					t.Fatalf("at %v: %+v", r.At, tr)
				}
				active[key] = tr.Active
			}
			checkState(t, one, active)
			a, b = append(a, more...), append(b, same...)
			if one.stuck > 0 {
				t.Fatalf("at %v a gland that was woken wants waking still", r.At)
			}
		}
		if fmt.Sprint(a) != fmt.Sprint(b) {
			t.Fatalf("once\n%v\nagain\n%v", a, b)
		}
		if got, want := of("g1", a), of("g1", other); got != want {
			t.Fatalf("g1, which was not touched\n%v\nwant\n%v", got, want)
		}
	})
}

func of(gland string, list []Transition) (text string) {
	for _, tr := range list {
		if tr.Gland == gland {
			text += fmt.Sprintln(tr)
		}
	}
	return text
}

// drawConfig changes the first gland, and adds a third or takes it out.
func drawConfig(t *rapid.T, cfg Config) Config {
	g := &cfg.Glands[0]
	g.Limits.DryDPM = rapid.SampledFrom([]float64{5, 15, 25}).Draw(t, "dry")
	g.Limits.LeakDPM = rapid.SampledFrom([]float64{40, 60, 120}).Draw(t, "leak")
	g.Limits.RiseC = rapid.SampledFrom([]float64{5, 25, 60}).Draw(t, "rise")
	g.Limits.FalseAlarmsPerYear = rapid.SampledFrom([]float64{0.1, 1, 50}).Draw(t, "budget")
	g.Timing.OnDelay = time.Duration(rapid.IntRange(0, 20).Draw(t, "on")) * time.Second
	g.Timing.OffDelay = time.Duration(rapid.IntRange(0, 90).Draw(t, "off")) * time.Second
	g.Timing.StartGrace = time.Duration(rapid.IntRange(0, 300).Draw(t, "grace")) * time.Second
	g.Timing.RunIn = time.Duration(rapid.IntRange(0, 2).Draw(t, "run-in")) * time.Hour
	for k := range g.Fitted {
		g.Fitted[k] = rapid.IntRange(0, 3).Draw(t, "fitted") > 0
	}
	if cfg.Glands = cfg.Glands[:2]; rapid.Bool().Draw(t, "third") {
		third := cfg.Glands[1]
		third.ID = "g2"
		cfg.Glands = append(cfg.Glands, third)
	}
	return cfg
}

func configOf(s *Station) (cfg Config) {
	for _, g := range s.glands {
		cfg.Glands = append(cfg.Glands, g.cfg)
	}
	return cfg
}

func reconfigure(t *rapid.T, s *Station, at time.Duration, cfg Config) []Transition {
	out, err := s.Reconfigure(at, cfg)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// One at fault changes nothing.
func TestReconfigureRefusesFaults(t *testing.T) {
	s, ids := quietStation(t, 2)
	cfg := configOf(s)
	cfg.Glands[0].Limits.DryDPM = 500
	if _, err := s.Reconfigure(time.Hour, cfg); err == nil || !strings.Contains(err.Error(), ids[0]) {
		t.Errorf("%v", err)
	}
	if got := s.glands[0].cfg.Limits.DryDPM; got == 500 {
		t.Errorf("dry_dpm is %g", got)
	}
}
