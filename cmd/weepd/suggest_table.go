package main

import (
	"fmt"
	"io"

	"weepd/agent/suggest"
)

const suggestCaution = "The pump maker's and the packing maker's limits come before all of this, and a person decides. " +
	"Nothing was changed. weepd is no safety system; its alarms do not replace trips."

func printFindings(w io.Writer, findings []suggest.Finding) error {
	out := &printer{w: w}
	for _, f := range findings {
		printFinding(out, f)
	}
	out.printf("%s\n", suggestCaution)
	return out.err
}

func printFinding(out *printer, f suggest.Finding) {
	out.printf("%s %s: in force %g, false-alarm budget %g a year\n", f.Gland, f.Limit, f.InForce, f.Budget)
	if !f.Enough {
		out.printf("  too little record: %s\n\n", f.TooLittle)
		return
	}
	what, unit := "weep", "dpm"
	if f.Limit == suggest.Rise {
		what, unit = "rise", "°C"
	}
	out.printf("  %.1f days with the shaft turning; usual %s %.3g to %.3g %s (5 to 95 %%), middle %.3g; %d quiet stretches; regularity learned %.2g\n",
		f.Watched, what, f.Usual05, f.Usual95, unit, f.Usual50, f.Stretches, f.Regularity)
	out.table(func(row *printer) {
		row.printf("  %s\tBUDGET A YEAR\tALARMS\tA MONTH (95 %%)", f.Limit)
		if len(f.Candidates) > 0 {
			for _, d := range f.Candidates[0].Delays {
				row.printf("\t%s", sizeText(f.Limit, d.Size))
			}
		}
		row.printf("\n")
		for _, c := range f.Candidates {
			printCandidate(row, c)
		}
	})
	printProposal(out, f)
}

func sizeText(l suggest.Limit, size float64) string {
	switch {
	case l == suggest.Rise:
		return fmt.Sprintf("+%g °C/min", size)
	case size == 0:
		return "STOPS"
	default:
		return fmt.Sprintf("TO %g DPM", size)
	}
}

func printCandidate(row *printer, c suggest.Candidate) {
	mark := " "
	if c.InForce {
		mark = "*"
	}
	row.printf("%s %g\t%g", mark, c.Value, c.Budget)
	if !c.Fits {
		row.printf("\tdoes not fit the other limits\n")
		return
	}
	row.printf("\t%d\t%.2g (%.2g to %.2g)", c.Alarms, c.PerMonth, c.Low95, c.High95)
	for _, d := range c.Delays {
		row.printf("\t%s", delayText(d))
	}
	row.printf("\n")
}

// delayText is theory | median of those found (found of tried).
func delayText(d suggest.Delay) string {
	if d.Within {
		return "not beyond"
	}
	theory := "none"
	if d.Theory > 0 {
		theory = spanOf(d.Theory)
	}
	found := "not within " + spanOf(d.NotWithin)
	if d.Found > 0 {
		found = spanOf(d.Median)
	}
	text := fmt.Sprintf("%s | %s (%d/%d)", theory, found, d.Found, d.Tried)
	if d.Early > 0 {
		text += fmt.Sprintf(", %d before it", d.Early)
	}
	return text
}

func printProposal(out *printer, f suggest.Finding) {
	out.printf("  Delays: theory | median where injected (found of tried). * = in force.\n")
	switch p := f.Proposal; {
	case p == nil:
	case p.Keep:
		out.printf("  proposal: keep %g, budget %g a year\n", p.Value, p.Budget)
	case p.Looser:
		out.printf("  proposal, protects less: %s %g, budget %g a year\n", f.Limit, p.Value, p.Budget)
	default:
		out.printf("  proposal: %s %g, budget %g a year\n", f.Limit, p.Value, p.Budget)
	}
	if f.Proposal != nil {
		for _, why := range f.Proposal.Reasons {
			out.printf("    - %s\n", why)
		}
	}
	out.printf("\n")
}
