package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/suggest"
	"weepd/rules"
)

// suggestOptions are the command line's.
type suggestOptions struct {
	config           string
	limits, glands   []string
	factors, budgets []float64
	most             float64
	json             bool
}

func suggestCommand(s streams) *cobra.Command {
	var o suggestOptions
	cmd := &cobra.Command{
		Use:   "suggest --config FILE [--gland ID] [--limit KEY] [--json] RECORDING...",
		Short: "Show what limits trade off in the station's own record",
		Long: `suggest runs recordings through a range of limits and false-alarm budgets and
shows for each how many alarms a month they would have raised and how soon a
change would be found: by the detector's own theory, and by injecting the change
into quiet stretches of the record. Drops are the gland's own there, with their
times stretched or shrunk from the onset on; for rise_c the temperature is made to
grow. The theory is first order: for a change just beyond the limit it says up to
twice too much, and what was found by injecting counts.

Then it proposes a limit, or to keep what is in force, and says why. A proposal
has the usual weep or rise where the false-alarm budget holds, brings no more
alarms a month than are accepted, and of such it finds the changes soonest; one
that protects less comes only where nothing else will do. dry_dpm is not proposed
above what common practice asks for.

It changes nothing. The pump maker's and the packing maker's limits come before
all that it proposes, and a person decides. Where a record is too short to tell it
says so: it wants 7 days with the shaft turning and 4 quiet stretches of 3 hours.`,
		Example: `  weepd suggest --config quarry.yaml --gland p1-de --limit dry_dpm march.csv.zst
  weepd suggest --config quarry.yaml --factors 0.8,1,1.2 --budgets 0.1,1 --json *.csv.gz`,
		DisableFlagsInUseLine: true,

		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.check(args); err != nil {
				return usageError{err}
			}
			return o.run(cmd.Context(), s, args)
		},
	}
	flags := cmd.Flags()
	flags.StringVarP(&o.config, "config", "c", "", "the configuration with the limits in force (needed)")
	flags.StringSliceVar(&o.limits, "limit", nil, "limits to try: dry_dpm, leak_dpm, rise_c (all)")
	flags.StringSliceVar(&o.glands, "gland", nil, "glands to look at (all)")
	flags.Float64SliceVar(&o.factors, "factors", []float64{0.6, 0.8, 1, 1.25, 1.5}, "multiples of the limit in force to try")
	flags.Float64SliceVar(&o.budgets, "budgets", []float64{0.1, 1, 10}, "multiples of the false-alarm budget in force to try")
	flags.Float64Var(&o.most, "most-per-month", 1, "alarms a month of a condition that a proposal may bring")
	flags.BoolVar(&o.json, "json", false, "print one JSON object and nothing else")
	if err := cmd.MarkFlagRequired("config"); err != nil {
		cmd.RunE = func(*cobra.Command, []string) error { return err }
	}
	return cmd
}

func (o suggestOptions) check(recordings []string) error {
	if first := slices.Index(recordings, "-"); first >= 0 && slices.Contains(recordings[first+1:], "-") {
		return errors.New("standard input (-) can be named only once")
	}
	for _, l := range o.limits {
		if !slices.Contains(suggest.Limits(), suggest.Limit(l)) {
			return fmt.Errorf("--limit %s; want dry_dpm, leak_dpm or rise_c", l)
		}
	}
	for flag, list := range map[string][]float64{"factors": o.factors, "budgets": o.budgets} {
		for _, v := range list {
			if !(v >= 0.01 && v <= 100) {
				return fmt.Errorf("--%s %g; want multiples from 0.01 to 100", flag, v)
			}
		}
		if len(list) > 20 {
			return fmt.Errorf("--%s: %d values; want at most 20", flag, len(list))
		}
	}
	if !(o.most >= 0) {
		return fmt.Errorf("--most-per-month %g; want 0 or more", o.most)
	}
	return nil
}

// study makes what is to be tried of a configuration.
func (o suggestOptions) study(cfg *config.Config) (*suggest.Study, error) {
	chosen := suggest.Options{
		Limits: suggest.Limits(), Factors: withOne(o.factors), Budgets: withOne(o.budgets), MostPerMonth: o.most,
		MostDryDPM: map[string]float64{},
	}
	if len(o.limits) > 0 {
		chosen.Limits = nil
		for _, l := range suggest.Limits() {
			if slices.Contains(o.limits, string(l)) {
				chosen.Limits = append(chosen.Limits, l)
			}
		}
	}
	var ids []string
	for _, g := range cfg.Glands {
		ids = append(ids, g.ID)
		chosen.MostDryDPM[g.ID] = g.Fibre.WantedDPM()
	}
	for _, id := range o.glands {
		if !slices.Contains(ids, id) {
			return nil, fmt.Errorf("%s has no gland %s; see `weepd check %s`", o.config, id, o.config)
		}
	}
	chosen.Glands = o.glands
	return suggest.New(cfg.Rules().Glands, chosen), nil
}

// withOne is a list without what is given twice and with what is in force.
func withOne(list []float64) []float64 {
	list = append(slices.Clone(list), 1)
	slices.Sort(list)
	return slices.Compact(list)
}

func (o suggestOptions) run(ctx context.Context, s streams, recordings []string) (err error) {
	cfg, err := config.Load(o.config)
	if err != nil {
		return err
	}
	study, err := o.study(cfg)
	if err != nil {
		return err
	}
	twice, err := keepInput(s.in, slices.Contains(recordings, "-"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, twice.close()) }()
	bar, stop := startProgress(s)
	rows, err := agent.ManyReplay{
		Configs: study.Configs(), Stdin: twice.reader(), Row: study.Row, Transition: study.Transition,
		Progress: &bar.ReplayProgress,
	}.Run(ctx, recordings)
	if err == nil {
		study.Choose()
		_, err = agent.ManyReplay{
			Configs: []rules.Config{cfg.Rules()}, Stdin: twice.reader(), Row: study.Collect, Transition: func(int, rules.Transition) {},
			Progress: &bar.ReplayProgress,
		}.Run(ctx, recordings)
	}
	err = errors.Join(stop(), err)
	if err == nil {
		err = o.print(s.out, cfg.Station, study.Report())
	}
	_, countErr := fmt.Fprintf(s.err, "rows used: %d\n", rows)
	return errors.Join(err, countErr)
}

func (o suggestOptions) print(w io.Writer, station string, findings []suggest.Finding) error {
	out := bufio.NewWriter(w)
	var err error
	if o.json {
		lines := json.NewEncoder(out)
		lines.SetEscapeHTML(false)
		lines.SetIndent("", " ")
		err = lines.Encode(struct {
			Station  string            `json:"station"`
			Config   string            `json:"config"`
			Caution  string            `json:"caution"`
			Findings []suggest.Finding `json:"findings"`
		}{station, o.config, suggestCaution, findings})
	} else {
		err = printFindings(out, findings)
	}
	return errors.Join(err, out.Flush())
}

// keptInput is standard input in a temporary file, for reading it twice.
type keptInput struct{ file *os.File }

func keepInput(in io.Reader, wanted bool) (keptInput, error) {
	if !wanted {
		return keptInput{}, nil
	}
	file, err := os.CreateTemp("", "weepd-stdin-*")
	if err != nil {
		return keptInput{}, fmt.Errorf("keep standard input in a temporary file: %w", err)
	}
	k := keptInput{file}
	if _, err := io.Copy(file, in); err != nil {
		return keptInput{}, errors.Join(fmt.Errorf("keep standard input in a temporary file: %w", err), k.close())
	}
	return k, nil
}

// reader reads it from its start.
func (k keptInput) reader() io.Reader {
	if k.file == nil {
		return nil
	}
	return io.NewSectionReader(k.file, 0, 1<<62)
}

func (k keptInput) close() error {
	if k.file == nil {
		return nil
	}
	return errors.Join(k.file.Close(), os.Remove(k.file.Name()))
}
