package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules/reading"
)

// simulation is what the command line says.
type simulation struct {
	agent.Simulation
	glands  int
	dpm     float64
	config  string
	from    string
	without []string
	events  []string
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
	f.DurationVar(&sim.For, "for", 24*time.Hour, "length of the recording, up to 87600h")
	f.StringVar(&sim.from, "from", "2025-01-01T00:00:00Z", "time of the start, RFC 3339")
	f.Uint64Var(&sim.Seed, "seed", 1, "another number, another recording")
	f.DurationVar(&sim.Unit, "unit", time.Millisecond, "times are whole multiples of this")
	f.Float64Var(&sim.dpm, "dpm", 30, "weep of each gland, drops per minute")
	f.Float64Var(&sim.Shape, "shape", 8, "regularity: 1 = as chance has it, 100 = like a clock")
	f.Float64Var(&sim.SplashShare, "splash", 0.005, "share of drops that count twice")
	f.Float64Var(&sim.MissShare, "missed", 0.005, "share of drops that are not counted")
	f.Float64Var(&sim.WearPerDay, "wear", 0, "growth of the weep per day, as a share")
	f.DurationVar(&sim.TempEvery, "temp-every", 10*time.Second, "time between two temperatures")
	f.StringSliceVar(&sim.without, "without", nil, "kinds of point that are not fitted: temp, ref, run")
	f.StringArrayVar(&sim.events, "event", nil, "GLAND:WHAT@AFTER[:DPM[:OVER]]; may be given several times")
	return cmd
}

func (m *simulation) run(ctx context.Context, s streams) (err error) {
	if m.From, err = time.Parse(time.RFC3339, m.from); err != nil {
		return usageError{fmt.Errorf("--from %s: want RFC 3339, like 2025-01-01T00:00:00Z", m.from)}
	}
	if m.config != "" {
		cfg, err := config.Load(m.config)
		if err != nil {
			return err
		}
		for _, g := range cfg.Rules().Glands {
			m.Glands = append(m.Glands, agent.SimulatedGland{ID: g.ID, DPM: g.NormalDPM})
		}
	} else if err := m.nameGlands(); err != nil {
		return usageError{err}
	}
	if err := m.complete(); err != nil {
		return usageError{err}
	}
	return m.Write(ctx, s.out)
}

func (m *simulation) nameGlands() error {
	if m.glands < 1 || m.glands > 1000 {
		return fmt.Errorf("--glands %d: want 1 to 1000", m.glands)
	}
	for i := range m.glands {
		m.Glands = append(m.Glands, agent.SimulatedGland{ID: fmt.Sprintf("g%02d", i+1), DPM: m.dpm})
	}
	return nil
}

// complete adds what is missing and what happens.
func (m *simulation) complete() error {
	var errs []error
	for _, name := range m.without {
		k, err := reading.ParseKind(name)
		if err != nil {
			err = fmt.Errorf("--without %s: %w", name, err)
		}
		m.Without, errs = append(m.Without, k), append(errs, err)
	}
	for _, e := range m.events {
		errs = append(errs, m.AddEvent(e))
	}
	return errors.Join(append(errs, m.Validate())...)
}
