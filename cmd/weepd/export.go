package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/export"
	"weepd/agent/store"
	"weepd/rules/reading"
)

// exportFlags is what the command line says.
type exportFlags struct {
	config, folder, output string
	from, to               string
	request                agent.ExportRequest
}

func exportCommand(s streams) *cobra.Command {
	var f exportFlags
	cmd := &cobra.Command{
		Use:   "export {--config FILE | --store FOLDER} [--gland ID] [--from TIME] [--to TIME] [--around SEQ] [--output FILE]",
		Short: "Make a recording of what the agent has kept",
		Long: `export writes a recording, for weepd replay or for a colleague, of the readings
in the agent's store. The agent may run or not. What it kept (7 days, if the
store's size allows) is exported as it was fed to the rules: a replay of a run
of the agent from its start, with the same configuration, gives the same
transitions at the same times. Notes on standard error say where a replay may
differ: in a stretch from the midst of a run the rules begin unlearned.

Times are RFC 3339 such as 2026-03-01T08:00:00Z, or how long ago, such as 36h.
--around takes the seq of an event, as journal, MQTT and page show it.`,
		Example: `  weepd export --config quarry.yaml --from 24h --output yesterday.csv.zst
  weepd export --config quarry.yaml --around 4711 --gland p1-de -o odd.csv.gz
  weepd export --store /var/lib/weepd | weepd replay --config new.yaml -`,
		DisableFlagsInUseLine: true,

		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := f.check(cmd, time.Now()); err != nil {
				return usageError{err}
			}
			return f.run(cmd.Context(), s)
		},
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "configuration of the station, which says where the store is")
	flags.StringVar(&f.folder, "store", "", "the store's folder, instead of --config")
	flags.StringVarP(&f.output, "output", "o", "-", "file to write, packed if its name ends in .gz or .zst; - is standard output")
	flags.StringArrayVar(&f.request.Glands, "gland", nil, "only this gland; may be given more than once")
	flags.StringVar(&f.from, "from", "", "begin at this time, or so long ago")
	flags.StringVar(&f.to, "to", "", "end before this time, or so long ago")
	flags.Uint64Var(&f.request.Around, "around", 0, "everything around the event with this seq")
	flags.DurationVar(&f.request.Before, "before", 6*time.Hour, "with --around: so much before it, in which the rules learn")
	flags.DurationVar(&f.request.After, "after", time.Hour, "with --around: so much after it")
	flags.BoolVar(&f.request.Whole, "whole", false, "begin at the start of the agent's run, so that a replay is exact")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("store")
	return cmd
}

// check reads times and refuses what does not go together.
func (f *exportFlags) check(cmd *cobra.Command, now time.Time) error {
	given := cmd.Flags().Changed
	switch {
	case given("config") == given("store"):
		return errors.New("want --config FILE or --store FOLDER, one of them")
	case given("around") && (given("from") || given("to")):
		return errors.New("--around has its own stretch, see --before and --after; leave --from and --to out")
	case given("around") && f.request.Around == 0:
		return errors.New("--around 0: events begin at 1")
	case !given("around") && (given("before") || given("after")):
		return errors.New("--before and --after belong to --around")
	case f.request.Before < 0 || f.request.After < 0:
		return errors.New("--before and --after: want times of 0 and more, such as 6h")
	}
	if bad := slices.IndexFunc(f.request.Glands, func(id string) bool { return !reading.ValidGlandID(id) }); bad >= 0 {
		return fmt.Errorf("--gland %q: want an id of 1 to %d of A-Z a-z 0-9 _ -", f.request.Glands[bad], reading.MaxGlandID)
	}
	return f.times(now)
}

// times reads --from and --to.
func (f *exportFlags) times(now time.Time) (err error) {
	if f.request.From, err = timeGiven("from", f.from, now); err != nil {
		return err
	}
	if f.request.To, err = timeGiven("to", f.to, now); err != nil {
		return err
	}
	if from, to := f.request.From, f.request.To; !from.IsZero() && !to.IsZero() && !from.Before(to) {
		return errors.New("--from is not before --to")
	}
	return nil
}

func timeGiven(flag, text string, now time.Time) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	if ago, err := time.ParseDuration(text); err == nil && ago >= 0 {
		return now.Add(-ago), nil
	}
	return time.Time{}, fmt.Errorf("--%s %q: want a time with its zone such as 2026-03-01T08:00:00Z, or how long ago, such as 36h", flag, text)
}

func (f *exportFlags) run(ctx context.Context, s streams) error {
	folder := f.folder
	if folder == "" {
		cfg, err := config.Load(f.config)
		if err != nil {
			return err
		}
		folder = storeFolder(cfg.Store, f.config)
	}
	var done agent.Exported
	write := func(w io.Writer) (err error) {
		done, err = exportTo(ctx, folder, f.request, w)
		return err
	}
	var err error
	if f.output == "-" {
		err = write(s.out)
	} else {
		err = export.ToFile(f.output, write)
	}
	tellExported(s.err, done)
	return err
}

// exportTo reads the store itself or, if an agent has it, asks that.
func exportTo(ctx context.Context, folder string, q agent.ExportRequest, w io.Writer) (done agent.Exported, err error) {
	opened, release, err := store.OpenToRead(folder)
	if errors.Is(err, store.ErrBusy) {
		return export.Ask(ctx, folder, q, w)
	}
	if err != nil {
		return done, fmt.Errorf("%w; name the folder with --store (a packaged agent's is /var/lib/weepd)", err)
	}
	done, err = export.Write(ctx, opened, q, w)
	return done, errors.Join(err, release())
}

func tellExported(w io.Writer, done agent.Exported) {
	out := &printer{w: w}
	if done.Rows > 0 {
		out.printf("rows exported: %d, from %s to %s\n", done.Rows, done.From.UTC().Format(time.RFC3339), done.To.UTC().Format(time.RFC3339))
	}
	for _, note := range done.Notes {
		out.printf("note: %s\n", note)
	}
}
