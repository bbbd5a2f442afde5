package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"weepd/agent/config"
	"weepd/agent/config/schema"
)

func checkCommand(s streams) *cobra.Command {
	var asSchema bool
	cmd := &cobra.Command{
		Use:   "check FILE | check --schema",
		Short: "Check a configuration and print the limits in force",
		Long: `check reads a configuration and reports every fault at once, each with its
line, its column and what to do about it. Without a fault it prints what is in
force for each gland and where each value comes from: a line of the file, or a
default with its origin.

What is allowed but unwise is warned of on standard error, as
FILE:LINE:COLUMN: warning: what; what to do. A warning is no fault: the exit code
stays 0.

With --schema it prints the JSON Schema of the configuration, for completion and
checks in an editor. The schema cannot say all that check does.

Defaults only start a gland. Limits are the engineer's, from the pump maker's
and the packing maker's instructions.`,
		Example: "  weepd check quarry.yaml\n  weepd check --schema > weepd.schema.json",
		Args: func(cmd *cobra.Command, args []string) error {
			if asSchema {
				return cobra.NoArgs(cmd, args)
			}
			return cobra.ExactArgs(1)(cmd, args)
		},
		DisableFlagsInUseLine: true,

		RunE: func(_ *cobra.Command, args []string) error {
			if asSchema {
				_, err := s.out.Write(schema.JSON())
				return err
			}
			cfg, err := config.Load(args[0])
			if err != nil {
				return err
			}
			if err := checkAccess(cfg.HTTP); err != nil {
				return err
			}
			if _, err := cfg.Advice(); err != nil {
				return err
			}
			for _, w := range cfg.Warnings {
				if _, err := fmt.Fprintln(s.err, w); err != nil {
					return err
				}
			}
			return printSettings(s.out, args[0], cfg)
		},
	}
	cmd.Flags().BoolVar(&asSchema, "schema", false, "print the JSON Schema of the configuration")
	return cmd
}

func printSettings(w io.Writer, file string, cfg *config.Config) error {
	out := &printer{w: w}
	out.printf("%s: no faults; station %s, glands: %d\n", file, cfg.Station, len(cfg.Glands))
	printAccess(out, cfg.HTTP)
	settings := func(list []config.Setting) {
		out.table(func(row *printer) {
			row.printf("  SETTING\tIN FORCE\tFROM\n")
			for _, set := range list {
				row.printf("  %s\t%s\t%s\n", set.Key, set.Value, set.From)
			}
		})
	}
	out.printf("\n")
	settings(append(cfg.Settings(), cfg.Alarms.Settings()...))
	for _, g := range cfg.Glands {
		out.printf("\n%s", g.ID)
		if g.Name != g.ID {
			out.printf(" (%s)", g.Name)
		}
		out.printf("\n")
		settings(g.Settings())
		for _, note := range g.Notes() {
			out.printf("  note: %s\n", note)
		}
	}
	return out.err
}
