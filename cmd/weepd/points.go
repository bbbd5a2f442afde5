package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules/reading"
)

const pointsHelp = `points reads every sensor of a configuration and shows a live table: what the
device says, what becomes of it, whether it may be believed, how old it is, and
why where it is not. On a terminal the table stays in place; elsewhere it is
printed once a second. --once prints it when every point has answered, or after
--within, and exits with 1 if a point cannot be read.

The agent must not run at the same time: both would ask the same devices.

--count GLAND is for a person with a watch. Enter starts and ends the count; then
type how many drops you saw. The sensor agrees if its count lies within the exact
two-sided 95 % Poisson limits of yours (Garwood 1936). A sensor that is read once
a second may be off by a second's drops. Exit code 1 if the last count disagrees.

` + countCaution

const countCaution = `CAUTION: the shaft may turn and start by itself, the water may be hot and under
pressure. Keep hands, sleeves and the watch outside the guards and count by eye
from a safe place. The maker's instructions and the site's rules come first.`

// points is what the command line says.
type points struct {
	streams
	path   string
	once   bool
	within time.Duration
	count  string // gland

	withinGiven bool
}

func pointsCommand(s streams) *cobra.Command {
	p := points{streams: s}
	cmd := &cobra.Command{
		Use:     "points --config FILE",
		Short:   "Show what every sensor says, and check a drip sensor by hand",
		Long:    pointsHelp,
		Example: "  weepd points --config quarry.yaml\n  weepd points --config quarry.yaml --once\n  weepd points --config quarry.yaml --count p1-de",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			p.withinGiven = cmd.Flags().Changed("within")
			return p.run(cmd.Context())
		},
	}
	cmd.Flags().StringVar(&p.path, "config", "", "configuration of the station (YAML)")
	cmd.Flags().BoolVar(&p.once, "once", false, "print one table and end")
	cmd.Flags().DurationVar(&p.within, "within", 15*time.Second, "with --once, how long to wait for points that do not answer")
	cmd.Flags().StringVar(&p.count, "count", "", "gland whose drops are counted along by hand")
	_ = cmd.MarkFlagRequired("config")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

func (p *points) run(ctx context.Context) error {
	switch {
	case p.once && p.count != "":
		return usageError{errors.New("--once and --count: want one of them")}
	case p.withinGiven && !p.once:
		return usageError{errors.New("--within: want --once with it")}
	case p.within <= 0:
		return usageError{fmt.Errorf("--within %s: want a time above 0, e.g. 15s", p.within)}
	}
	cfg, err := config.Load(p.path)
	if err != nil {
		return err
	}
	clock := agent.NewClock(nil)
	feeds, err := agent.Feeds(cfg, clock, nil)
	if err != nil {
		return err
	}
	order := fitted(cfg)
	if p.count != "" {
		point, err := dripOf(cfg, p.path, p.count)
		if err != nil {
			return err
		}
		order, feeds = []reading.Point{point}, feeding(feeds, point)
	}
	if len(order) == 0 {
		return fmt.Errorf("%s: no sensor is fitted; add `sensors:` to a gland", p.path)
	}
	watch := agent.NewPoints(order, feeds, clock)
	return beside(ctx, watch.Run, func(ctx context.Context) error {
		switch {
		case p.count != "":
			return newCounting(ctx, p.streams, watch, clock, order[0]).run(ctx)
		case p.once:
			return p.printOnce(ctx, cfg.Station, watch)
		}
		return p.show(ctx, cfg.Station, watch)
	})
}

// beside runs work while the watch goes on, and ends both.
func beside(ctx context.Context, watch, work func(context.Context) error) error {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- watch(ctx) }()
	err := work(ctx)
	cancel()
	return errors.Join(err, <-done)
}

// fitted gives the points that have a sensor, in the order of the file.
func fitted(cfg *config.Config) []reading.Point {
	var all []reading.Point
	for _, g := range cfg.Glands {
		for kind, s := range g.Sensors {
			if s != nil {
				all = append(all, reading.Point{Gland: g.ID, Kind: reading.Kind(kind)})
			}
		}
	}
	return all
}

// dripOf gives the drip point of a gland.
func dripOf(cfg *config.Config, path, gland string) (reading.Point, error) {
	var ids []string
	for _, g := range cfg.Glands {
		p := reading.Point{Gland: g.ID, Kind: reading.Drip}
		switch {
		case g.ID != gland && p.String() != gland:
			ids = append(ids, g.ID)
		case g.Sensors[reading.Drip] == nil:
			return p, fmt.Errorf("%s: gland %s has no drip sensor; add `drip:` to its sensors", path, g.ID)
		default:
			return p, nil
		}
	}
	return reading.Point{}, fmt.Errorf("%s: no gland %q; there are %s", path, gland, strings.Join(ids, ", "))
}

// feeding gives the feeds that read a point.
func feeding(feeds []agent.Feed, point reading.Point) []agent.Feed {
	var some []agent.Feed
	for _, f := range feeds {
		for _, p := range f.Points {
			if p == point {
				some = append(some, f)
			}
		}
	}
	return some
}
