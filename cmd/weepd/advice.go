package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"weepd/agent/config"
	"weepd/rules/advice"
)

const adviceHelp = `advice prints what to do about a condition, in order, with its cautions and the
source of each practice; without a condition, all of them.

The texts are weepd's own, or those of the file that advice_file: of the
configuration names. --template prints weepd's file, to be copied and changed; a
condition that the copy leaves out keeps weepd's text, and faults are told with
file, line and column, by check too.

The pump maker's instructions, the lock-out rules and the local codes come
before every text.`

// adviceFlags is what the command line says.
type adviceFlags struct {
	path     string
	asJSON   bool
	template bool
}

func adviceCommand(s streams) *cobra.Command {
	var f adviceFlags
	cmd := &cobra.Command{
		Use:     "advice [--config FILE] [CONDITION]",
		Short:   "Say what to do about a condition, with cautions and sources",
		Long:    adviceHelp,
		Example: "  weepd advice burning\n  weepd advice --config quarry.yaml\n  weepd advice --template > advice.yaml",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if f.template {
				if len(args) > 0 || f.path != "" || f.asJSON {
					return usageError{errors.New("--template goes alone")}
				}
				_, err := s.out.Write(config.AdviceTemplate)
				return err
			}
			conditions := advice.Conditions()
			if len(args) == 1 {
				if !slices.Contains(conditions, args[0]) {
					return usageError{fmt.Errorf("condition %q: want %s", args[0], strings.Join(conditions, ", "))}
				}
				conditions = args
			}
			return f.run(s.out, conditions)
		},
	}
	cmd.Flags().StringVarP(&f.path, "config", "c", "", "the configuration, for its advice_file")
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print the texts as JSON")
	cmd.Flags().BoolVar(&f.template, "template", false, "print weepd's file of texts")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

func (f adviceFlags) run(w io.Writer, conditions []string) error {
	cfg := &config.Config{}
	if f.path != "" {
		var err error
		if cfg, err = config.Load(f.path); err != nil {
			return err
		}
	}
	book, err := cfg.Advice()
	if err != nil {
		return err
	}
	var texts []advice.Text
	for _, c := range conditions {
		texts = append(texts, book.For(c))
	}
	if f.asJSON {
		out := json.NewEncoder(w)
		out.SetIndent("", "  ")
		return out.Encode(texts)
	}
	return printAdvice(w, texts)
}

func printAdvice(w io.Writer, texts []advice.Text) error {
	out := &printer{w: w}
	for i, text := range texts {
		if i > 0 {
			out.printf("\n")
		}
		out.printf("%s: %s\n\n", text.Condition, text.Summary)
		for _, caution := range text.Cautions {
			out.printf("  CAUTION: %s\n", caution)
		}
		out.printf("\n")
		for n, step := range text.Steps {
			out.printf("  %d. %s\n", n+1, step.Do)
			if step.Caution != "" {
				out.printf("     CAUTION: %s\n", step.Caution)
			}
			out.printf("     (%s)\n", step.Source)
		}
	}
	return out.err
}
