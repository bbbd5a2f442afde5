package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules/sheet"
)

const sheetHelp = `sheet works out a gland's sheet from what the configuration says of its stuffing
box (stuffing_box:) and its packing (packing:): section, rings and cut length,
lantern ring and flush port, surface speed, friction and the small part of it
that the weep carries off, boiling margin, flush pressure, water lost and its
cost, and whether the duty fits the packing's family.

Every figure has its formula and where that comes from, and a warning where it
is outside its range. What is not known is said with the key that it needs.
--families prints the table of packing families instead.

The pump maker's instructions and the packing supplier's data come before every
figure here.`

// sheetFlags is what the command line says.
type sheetFlags struct {
	path     string
	price    float64
	asJSON   bool
	families bool
}

func sheetCommand(s streams) *cobra.Command {
	var f sheetFlags
	cmd := &cobra.Command{
		Use:     "sheet --config FILE GLAND",
		Short:   "Work out a gland's sheet: packing, friction, boiling, flush, water lost",
		Long:    sheetHelp,
		Example: "  weepd sheet --config quarry.yaml p1-de\n  weepd sheet --config quarry.yaml --price 2.15 --json p1-de\n  weepd sheet --families",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case f.families && (len(args) > 0 || f.path != "" || f.asJSON):
				return usageError{errors.New("--families goes alone")}
			case f.families:
				return printFamilies(s.out)
			case f.path == "" || len(args) == 0:
				return usageError{errors.New("want --config FILE and a gland")}
			case cmd.Flags().Changed("price") && !(f.price > 0):
				return usageError{fmt.Errorf("--price %g: want a price above 0", f.price)}
			}
			return f.run(s.out, args[0])
		},
	}
	cmd.Flags().StringVarP(&f.path, "config", "c", "", "the configuration")
	cmd.Flags().Float64Var(&f.price, "price", 0, "price of a cubic metre of water, instead of water.price_per_m3")
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print the sheet as JSON")
	cmd.Flags().BoolVar(&f.families, "families", false, "print the table of packing families")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

func (f sheetFlags) run(w io.Writer, gland string) error {
	cfg, err := config.Load(f.path)
	if err != nil {
		return err
	}
	if f.price > 0 {
		cfg.Water.PricePerM3 = f.price
	}
	made, ok := agent.GlandSheet(cfg, gland)
	if !ok {
		return noGland(cfg, f.path, gland)
	}
	if f.asJSON {
		out := json.NewEncoder(w)
		out.SetIndent("", "  ")
		return out.Encode(made)
	}
	return printSheet(w, made)
}

func noGland(cfg *config.Config, path, gland string) error {
	var ids []string
	for _, g := range cfg.Glands {
		ids = append(ids, g.ID)
	}
	return fmt.Errorf("%s: no gland %q; there are %s", path, gland, strings.Join(ids, ", "))
}

func printSheet(w io.Writer, made sheet.Sheet) error {
	out := &printer{w: w}
	out.printf("Gland %s", made.Gland)
	if made.Name != made.Gland {
		out.printf(" (%s)", made.Name)
	}
	out.printf("\n")
	sources := &footnotes{}
	for _, section := range made.Sections {
		out.printf("\n%s\n", section.Title)
		out.table(func(cell *printer) {
			for _, row := range section.Rows {
				printRow(cell, row, sources)
			}
		})
		for _, row := range section.Rows {
			for _, warning := range row.Warnings {
				out.printf("  WARNING, %s: %s\n", strings.TrimSpace(row.What), warning)
			}
		}
		for _, note := range section.Notes {
			out.printf("  Note: %s\n", note)
		}
	}
	out.printf("\nSources\n")
	for i, source := range sources.list {
		out.printf("  [%d] %s\n", i+1, source)
	}
	out.printf("\n")
	for _, caution := range made.Cautions {
		out.printf("CAUTION: %s\n", caution)
	}
	return out.err
}

func printRow(cell *printer, row sheet.Row, sources *footnotes) {
	cell.printf("  %s\t%s\t", row.What, row.Text)
	if row.Missing == nil {
		if row.Formula != "" {
			cell.printf("= %s ", row.Formula)
		}
		cell.printf("%s", sources.mark(row.Source))
	}
	cell.printf("\n")
}

// footnotes numbers sources in the order in which they are met.
type footnotes struct{ list []string }

func (f *footnotes) mark(source string) string {
	if source == "" {
		return ""
	}
	for i, known := range f.list {
		if known == source {
			return fmt.Sprintf("[%d]", i+1)
		}
	}
	f.list = append(f.list, source)
	return fmt.Sprintf("[%d]", len(f.list))
}

func printFamilies(w io.Writer) error {
	out := &printer{w: w}
	sources := &footnotes{}
	out.table(func(cell *printer) {
		cell.printf("FAMILY\tLIQUID UP TO\tSPEED UP TO\tPRESSURE UP TO\tPH\tWHAT IT IS\n")
		for _, f := range sheet.Families() {
			figure := func(v sheet.Figure, unit string) {
				cell.printf("\t%s %s %s", sheet.Number(v.Value), unit, sources.mark(v.Source))
			}
			cell.printf("%s", f.ID)
			figure(f.MaxC, "°C")
			figure(f.MaxMPS, "m/s")
			figure(f.MaxBar, "bar")
			cell.printf("\t%s %s\t%s\n", f.PH, sources.mark(f.PHFrom), f.Name)
		}
	})
	out.printf("\nCautions\n")
	for _, f := range sheet.Families() {
		for _, c := range f.Cautions {
			liquid := string(c.Fluid)
			if liquid == "" {
				liquid = "any liquid"
			}
			out.printf("  %s, %s: %s %s\n", f.ID, liquid, c.Text, sources.mark(c.Source))
		}
	}
	out.printf("\nSources\n")
	for i, source := range sources.list {
		out.printf("  [%d] %s\n", i+1, source)
	}
	out.printf("\n%s\n", sheet.SupplierDecides)
	return out.err
}
