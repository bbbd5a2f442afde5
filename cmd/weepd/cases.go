package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules"
)

func casesCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:    "cases DIR",
		Short:  "Judge the rules by recorded cases of known truth",
		Hidden: true,
		Long: `cases replays every case of a folder and compares what was raised with the
truth. The folder holds cases.json and, for each case, CASE.yaml and
CASE.csv.gz. The last line is a JSON summary; exit 1 if anything is wrong.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return judgeAll(cmd.Context(), s.out, args[0])
		},
	}
}

// knownCase is one case of cases.json.
type knownCase struct {
	Case    string       `json:"case"`
	Gland   string       `json:"gland"`
	Events  []knownEvent `json:"events"`
	MustNot []quietSpan  `json:"must_not"`
}

// knownEvent is what must be raised, and when.
type knownEvent struct {
	Condition string    `json:"condition"` // one, or several joined by " or "
	Onset     time.Time `json:"onset"`
	From      time.Time `json:"may_alarm_from"`
	By        time.Time `json:"must_alarm_by"`
	OptimumS  *float64  `json:"optimum_s"` // best possible mean delay, if known
}

// quietSpan is a stretch of time in which a condition must not be raised.
type quietSpan struct {
	Condition string    `json:"condition"`
	From      time.Time `json:"from"`
	To        time.Time `json:"to"` // exclusive
}

// caseCount sums up all cases.
type caseCount struct {
	Cases  int `json:"cases"`
	Events int `json:"events"`
	Missed int `json:"missed"`
	Late   int `json:"late"`
	False  int `json:"false"`
}

func judgeAll(ctx context.Context, w io.Writer, dir string) error {
	cases, err := readCases(filepath.Join(dir, "cases.json"))
	if err != nil {
		return err
	}
	var count caseCount
	out := &printer{w: w}
	out.table(func(row *printer) {
		row.printf("CASE\tCONDITION\tRESULT\tAT (UTC)\tDELAY\tOPTIMUM\tMESSAGE\n")
		for _, c := range cases {
			var raised []rules.Transition
			if raised, err = replayCase(ctx, dir, c); err != nil {
				err = fmt.Errorf("case %s: %w", c.Case, err)
				return
			}
			for _, v := range judge(c, raised, &count) {
				row.printf("%s\t%s\t%s\t%s\t%s\t%s\t%s\n", c.Case, v.condition, v.result, v.at, v.delay, v.optimum, v.message)
			}
		}
	})
	if err = errors.Join(err, out.err); err != nil {
		return err
	}
	if err := json.NewEncoder(w).Encode(count); err != nil {
		return err
	}
	if wrong := count.Missed + count.Late + count.False; wrong > 0 {
		return fmt.Errorf("%d wrong", wrong)
	}
	return nil
}

func readCases(path string) ([]knownCase, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("open cases: %w; name a folder with a cases.json", err)
	}
	var cases []knownCase
	if err := json.Unmarshal(data, &cases); err != nil {
		return nil, fmt.Errorf("%s: %w; want a list of cases", path, err)
	}
	for _, c := range cases {
		if c.Case == "" || c.Case != filepath.Base(c.Case) {
			return nil, fmt.Errorf("%s: case %q; want the name of its files", path, c.Case)
		}
	}
	return cases, nil
}

// replayCase gives what was raised.
func replayCase(ctx context.Context, dir string, c knownCase) ([]rules.Transition, error) {
	cfg, err := config.Load(filepath.Join(dir, c.Case+".yaml"))
	if err != nil {
		return nil, err
	}
	var raised []rules.Transition
	paths := []string{filepath.Join(dir, c.Case+".csv.gz")}
	_, err = agent.ReplayFiles(ctx, nil, cfg.Rules(), paths, agent.NewReplayTally(cfg.Rules()), func(t rules.Transition) error {
		if t.Active && t.Gland == c.Gland {
			raised = append(raised, t)
		}
		return nil
	})
	return raised, err
}
