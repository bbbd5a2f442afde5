package main

import (
	"context"
	"strings"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/page"
	"weepd/rules/sheet"
)

// sheetsOf gives what the glands' sheets are made of. A sheet is many times as
// large, and hardly ever looked at.
func sheetsOf(cfg *config.Config) map[string]sheet.Input {
	out := make(map[string]sheet.Input, len(cfg.Glands))
	for _, g := range cfg.Glands {
		out[g.ID] = cfg.SheetInput(g)
	}
	return out
}

// sheetSections gives a gland's sheet for the page, without the figures that
// nobody can know yet: a section in which nothing is known says what it needs.
func (s station) sheetSections(_ context.Context, gland string) []page.Section {
	input, ok := s.sheets[gland]
	if !ok {
		return nil
	}
	made := sheet.Make(input)
	var out []page.Section
	for _, section := range made.Sections {
		out = append(out, pageSection(section))
	}
	var cautions []page.Line
	for _, c := range made.Cautions {
		cautions = append(cautions, page.Line{Text: c})
	}
	return append(out, page.Section{Title: "Cautions", Lines: cautions})
}

func pageSection(section sheet.Section) page.Section {
	out := page.Section{Title: section.Title}
	var needs []string
	for _, row := range section.Rows {
		if row.Missing != nil {
			needs = append(needs, row.Missing...)
			continue
		}
		text := row.Text
		if row.Formula != "" {
			text += " = " + row.Formula
		}
		if row.Source != "" {
			text += " (" + row.Source + ")"
		}
		for _, warning := range row.Warnings {
			text += ". WARNING: " + warning
		}
		out.Lines = append(out.Lines, page.Line{Name: strings.TrimSpace(row.What), Text: text})
	}
	if len(needs) > 0 {
		out.Lines = append(out.Lines, page.Line{Name: "not known", Text: "for the rest the configuration needs " + strings.Join(once(needs), ", ")})
	}
	for _, note := range section.Notes {
		out.Lines = append(out.Lines, page.Line{Text: note})
	}
	return out
}

// once drops what is there already.
func once(list []string) []string {
	var out []string
	seen := make(map[string]bool)
	for _, s := range list {
		if !seen[s] {
			out = append(out, s)
		}
		seen[s] = true
	}
	return out
}

// demoSheets gives the demonstration's glands a box and a packing of our own.
func demoSheets(glands []agent.GlandInfo) map[string]sheet.Input {
	known := func(v float64) *float64 { return &v }
	out := make(map[string]sheet.Input, len(glands))
	for _, g := range glands {
		out[g.Rules.ID] = sheet.Input{
			Gland: g.Rules.ID, Name: g.Name,
			Box: sheet.Box{
				ShaftMM: 40, SleeveMM: 50, BoreMM: 70, DepthMM: 70, FlushPortMM: 42, SpeedRPM: 1450,
				PressureBar: known(3), FlushBar: known(3.5), Fluid: sheet.Water, FluidC: known(15),
				ThreadPitchMM: 1.75, FollowerTravelMM: 12, NutFlats: 6,
			},
			Packing:   sheet.Packing{Family: sheet.PTFEGraphite, Rings: 5, Lantern: true, LanternAfter: 2, LanternMM: 16},
			NormalDPM: g.Rules.NormalDPM, LeakDPM: g.Rules.Limits.LeakDPM, RiseC: g.Rules.Limits.RiseC, DropML: g.Rules.DropML,
		}
	}
	return out
}
