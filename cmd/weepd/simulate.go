package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors/recording"
	"weepd/sensors/simulated"
)

// simulation is what the command line says.
type simulation struct {
	glands  int
	config  string
	span    time.Duration
	from    string
	seed    uint64
	unit    time.Duration
	without []string
	events  []string
	gland   simulated.Gland // what all glands have in common
}

func simulateCommand(s streams) *cobra.Command {
	sim := simulation{}
	cmd := &cobra.Command{
		Use:   "simulate --for TIME [--glands N | --config FILE]",
		Short: "Write a recording of an invented station",
		Long: `simulate writes a recording of glands that exist only in here to standard
output: drops as a gamma renewal process with splash and missed drops, friction
heat, a day's course of temperatures. The same flags and seed give the same
recording. It is invented, for trying limits and for measuring, and proves
nothing about a real gland.

Glands are named g01, g02 ... or, with --config, as in that file, each with its
normal weep.

--event changes one of them: GLAND:WHAT@AFTER[:DPM[:OVER]], where WHAT is dry,
burn, leak, gush, tighten, stop, start, drip_sensor_dead or temp_sensor_open,
AFTER counts from the first row, DPM is the weep that it leads to, and OVER how
long that takes.`,
		Example: `  weepd simulate --for 8760h --seed 1 > year.csv
  weepd simulate --for 48h --glands 2 --event g02:dry@30h:3:10m | zstd > dry.csv.zst`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return sim.run(cmd.Context(), s) },
	}
	f := cmd.Flags()
	f.IntVar(&sim.glands, "glands", 1, "how many glands")
	f.StringVarP(&sim.config, "config", "c", "", "take glands and normal weeps from this configuration")
	f.DurationVar(&sim.span, "for", 24*time.Hour, "length of the recording, up to 87600h")
	f.StringVar(&sim.from, "from", "2025-01-01T00:00:00Z", "time of the start, RFC 3339")
	f.Uint64Var(&sim.seed, "seed", 1, "another number, another recording")
	f.DurationVar(&sim.unit, "unit", time.Millisecond, "times are whole multiples of this")
	f.Float64Var(&sim.gland.DPM, "dpm", 30, "weep of each gland, drops per minute")
	f.Float64Var(&sim.gland.Shape, "shape", 8, "regularity: 1 = as chance has it, 100 = like a clock")
	f.Float64Var(&sim.gland.SplashShare, "splash", 0.005, "share of drops that count twice")
	f.Float64Var(&sim.gland.MissShare, "missed", 0.005, "share of drops that are not counted")
	f.Float64Var(&sim.gland.WearPerDay, "wear", 0, "growth of the weep per day, as a share")
	f.DurationVar(&sim.gland.TempEvery, "temp-every", 10*time.Second, "time between two temperatures")
	f.StringSliceVar(&sim.without, "without", nil, "kinds of point that are not fitted: temp, ref, run")
	f.StringArrayVar(&sim.events, "event", nil, "GLAND:WHAT@AFTER[:DPM[:OVER]]; may be given several times")
	return cmd
}

func (m *simulation) run(ctx context.Context, s streams) error {
	from, err := time.Parse(time.RFC3339, m.from)
	if err != nil {
		return usageError{fmt.Errorf("--from %s: want RFC 3339, like 2025-01-01T00:00:00Z", m.from)}
	}
	if m.span <= 0 || m.span > 87_600*time.Hour {
		return usageError{fmt.Errorf("--for %s: want a time up to 87600h", m.span)}
	}
	if m.unit < 1 || m.unit > time.Second {
		return usageError{fmt.Errorf("--unit %s: want 1ns to 1s", m.unit)}
	}
	station, err := m.station()
	if err != nil {
		return err
	}
	start := time.Duration(from.UnixNano()).Truncate(m.unit)
	sim, err := simulated.NewSim(station, start)
	if err != nil {
		return usageError{err}
	}
	w := recording.NewWriter(s.out)
	return errors.Join(m.write(ctx, w, sim, start+m.span), w.Flush())
}

func (m *simulation) write(ctx context.Context, w *recording.Writer, sim *simulated.Sim, end time.Duration) error {
	for n := 0; ; n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		r := sim.Next()
		if r.At >= end {
			return nil
		}
		if err := w.Write(r, time.Unix(0, int64(r.At-r.At%m.unit))); err != nil {
			return err
		}
	}
}

// station puts the glands together.
func (m *simulation) station() (simulated.Station, error) {
	out := simulated.Station{Seed: m.seed}
	kinds, err := m.fitted()
	if err != nil {
		return out, err
	}
	m.gland.Kinds = kinds
	if out.Glands, err = m.namedGlands(); err != nil {
		return out, err
	}
	for _, e := range m.events {
		if err := addEvent(out.Glands, e); err != nil {
			return out, usageError{err}
		}
	}
	return out, nil
}

func (m *simulation) fitted() (kinds []reading.Kind, err error) {
	missing := map[reading.Kind]bool{}
	for _, name := range m.without {
		k, err := reading.ParseKind(name)
		if err != nil {
			return nil, usageError{fmt.Errorf("--without %s: %w", name, err)}
		}
		missing[k] = true
	}
	for k := range reading.Kinds {
		if !missing[k] {
			kinds = append(kinds, k)
		}
	}
	return kinds, nil
}

func (m *simulation) namedGlands() (glands []simulated.Gland, err error) {
	if m.config != "" {
		cfg, err := config.Load(m.config)
		if err != nil {
			return nil, err
		}
		for _, g := range cfg.Rules().Glands {
			gland := m.gland
			gland.ID, gland.DPM = g.ID, g.NormalDPM
			glands = append(glands, gland)
		}
		return glands, nil
	}
	if m.glands < 1 || m.glands > 1000 {
		return nil, usageError{fmt.Errorf("--glands %d: want 1 to 1000", m.glands)}
	}
	for i := range m.glands {
		gland := m.gland
		gland.ID = fmt.Sprintf("g%02d", i+1)
		glands = append(glands, gland)
	}
	return glands, nil
}
