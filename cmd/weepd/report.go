package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/store"
	"weepd/agent/weekly"
	"weepd/rules/reading"
)

const weekHelp = `report writes the week of a station for the planner: what to do, in order of
urgency; for each gland the time in its band, dry, leaking and not watched, the
alarms, the litres lost, and what was done to it and what came of that.

A week is ISO 8601's (YEAR-Wweek) from Monday 00:00 where the station is
(time_zone: in the configuration, else this machine's). Without one it is the
last that is over. The agent may run or not: its store is read as it stands,
which is at most some minutes behind.

The formats are html, one file that prints on A4 and loads nothing, and csv, one
line a gland.`

// weekFlags is what the command line says.
type weekFlags struct {
	path   string
	folder string
	format string
	output string
}

func reportCommand(s streams, now func() time.Time) *cobra.Command {
	var f weekFlags
	cmd := &cobra.Command{
		Use:   "report --config FILE --week [YEAR-Wweek]",
		Short: "Write the week of a station for the planner, as HTML or CSV",
		Long:  weekHelp,
		Example: `  weepd report --config quarry.yaml --week -o last-week.html
  weepd report --config quarry.yaml --week 2026-W07 --format csv`,
		DisableFlagsInUseLine: true,

		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !slices.Contains([]string{"html", "csv"}, f.format) {
				return usageError{fmt.Errorf("--format %q: want html or csv", f.format)}
			}
			if week, _ := cmd.Flags().GetString("week"); week != lastWeek {
				args = append(args, week)
			}
			if len(args) > 1 {
				return usageError{errors.New("more than one week")}
			}
			return f.run(cmd.Context(), s.out, args, now())
		},
	}
	cmd.Flags().StringVarP(&f.path, "config", "c", "", "configuration of the station (YAML)")
	cmd.Flags().String("week", lastWeek, "the week, e.g. 2026-W07; without one the last that is over")
	cmd.Flags().Lookup("week").NoOptDefVal = lastWeek
	cmd.Flags().StringVar(&f.folder, "store", "", "folder of the agent's store, if it is not where the configuration has it")
	cmd.Flags().StringVar(&f.format, "format", "html", "html or csv")
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "file to write instead of standard output")
	_ = cmd.MarkFlagRequired("config")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

// lastWeek stands for the last week that is over.
const lastWeek = "last"

func (f weekFlags) run(ctx context.Context, out io.Writer, args []string, now time.Time) error {
	cfg, err := config.Load(f.path)
	if err != nil {
		return err
	}
	request, err := weekRequest(cfg, args, now.In(cfg.Zone()))
	if err != nil {
		return err
	}
	if f.folder == "" {
		f.folder = storeFolder(cfg.Store, f.path)
	}
	var made *weekly.Report
	err = store.LookAt(ctx, f.folder, func(look *store.Look) (err error) {
		if request.State, err = upkeepOf(ctx, look, request); err != nil {
			return err
		}
		made, err = weekly.Make(ctx, look, request)
		return err
	})
	if err != nil {
		return fmt.Errorf("%w; name the store's folder with --store if it is not %s (a packaged agent's is /var/lib/weepd)", err, f.folder)
	}
	write := made.HTML
	if f.format == "csv" {
		write = made.CSV
	}
	if f.output == "" {
		return write(out)
	}
	return writeWhole(f.output, write)
}

// upkeepOf says what is known of each gland's upkeep when the report wants it.
func upkeepOf(ctx context.Context, look *store.Look, q weekly.Request) (map[string]*agent.UpkeepState, error) {
	log, err := look.Upkeep(ctx)
	if err != nil {
		return nil, err
	}
	at := q.StateAt()
	weeps, err := look.Weeps(ctx, log, at)
	if err != nil {
		return nil, err
	}
	return agent.UpkeepOf(q.Glands, log, weeps, at)
}

func weekRequest(cfg *config.Config, args []string, now time.Time) (weekly.Request, error) {
	request := weekly.Request{
		Station: cfg.Station, Week: weekly.LastWhole(now), Glands: agent.Glands(cfg), Drip: make(map[string]bool), Now: now,
		Price: cfg.Water.PricePerM3, Unit: cfg.Water.Currency,
	}
	if len(args) == 1 {
		week, err := weekly.ParseWeek(args[0], now.Location())
		if err != nil {
			return request, usageError{err}
		}
		request.Week = week
	}
	for _, g := range cfg.Glands {
		request.Drip[g.ID] = g.Sensors[reading.Drip] != nil
	}
	texts, err := cfg.Advice()
	request.Advice = func(condition string) string { return texts.For(condition).Summary }
	return request, err
}

// writeWhole writes a file beside its place and moves it there when it is
// whole, so that nobody finds half a report.
func writeWhole(path string, write func(io.Writer) error) (err error) {
	beside, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(beside.Name()))
		}
	}()
	if err := errors.Join(write(beside), beside.Chmod(0o644), beside.Close()); err != nil {
		return err
	}
	return os.Rename(beside.Name(), path)
}
