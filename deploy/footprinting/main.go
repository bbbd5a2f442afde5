// Command footprinting measures memory, processor time and binary size of the
// agent at a quiet station beside a floor program in the same run, how they
// grow with the glands, and what goes over the wire. `deploy/footprint` runs it.
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"
)

// result is the last line. Ratios of 8 and 32 glands are over the floor.
type result struct {
	Seconds     int     `json:"seconds"`
	BinaryRatio float64 `json:"binary_ratio"`
	RSSRatio8   float64 `json:"rss_ratio_8"`
	RSSRatio32  float64 `json:"rss_ratio_32"`
	CPURatio8   float64 `json:"cpu_ratio_8"`
	CPURatio32  float64 `json:"cpu_ratio_32"`
	// CPUOverWaking32 is over a floor that wakes for each drop and does nothing: what
	// the agent's own work costs beside the processor's wakings.
	CPUOverWaking32 float64 `json:"cpu_over_waking_32"`
	RSSGrowth       float64 `json:"rss_growth"` // cost of a gland at 1,000 over that at 10
	CPUGrowth       float64 `json:"cpu_growth"`
	KBGlandDay8     float64 `json:"kb_gland_day_8,omitempty"` // absent after a short run
	KBGlandDay32    float64 `json:"kb_gland_day_32,omitempty"`
}

// Targets.
const (
	rssMost    = 1.5
	cpuMost    = 3.0
	growthMost = 1.2
	kbMost     = 60.0
)

// missed names the targets that were missed.
func (r result) missed() string {
	var words []string
	for _, t := range []struct {
		value, most float64
		word        string
	}{
		{r.RSSRatio8, rssMost, "rss_ratio_8"}, {r.RSSRatio32, rssMost, "rss_ratio_32"},
		{r.CPURatio8, cpuMost, "cpu_ratio_8"}, {r.CPURatio32, cpuMost, "cpu_ratio_32"},
		{r.RSSGrowth, growthMost, "rss_growth"}, {r.CPUGrowth, growthMost, "cpu_growth"},
		{r.KBGlandDay8, kbMost, "kb_gland_day_8"}, {r.KBGlandDay32, kbMost, "kb_gland_day_32"},
	} {
		if !(t.value <= t.most) {
			words = append(words, t.word)
		}
	}
	return strings.Join(words, ", ")
}

const usage = `usage: deploy/footprint [--minutes N] [--dir FOLDER]
Floor and agents with 8 and 32 glands run side by side for N minutes (10), then
agents with 1, 10 and 1,000 glands. FOLDER for stores and logs is then kept.`

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, out, errs io.Writer) int {
	flags := flag.NewFlagSet("deploy/footprint", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	minutes := flags.Float64("minutes", 10, "")
	keep := flags.String("dir", "", "")
	if flags.Parse(args) != nil || flags.NArg() > 0 || !(*minutes > 0) {
		_, _ = fmt.Fprintln(errs, usage)
		return 2
	}
	dir, err := folder(*keep)
	if err == nil {
		_, _ = fmt.Fprintf(out, "logs in %s\n", dir)
		err = report(out, dir, time.Duration(*minutes*float64(time.Minute)))
	}
	if err != nil {
		if !errors.Is(err, errMissed) { // the output has said it
			_, _ = fmt.Fprintln(errs, err)
		}
		return 1
	}
	if *keep == "" {
		_ = os.RemoveAll(dir)
	}
	return 0
}

func folder(keep string) (string, error) {
	if keep == "" {
		return os.MkdirTemp("", "weepd-footprint-")
	}
	return keep, os.MkdirAll(keep, 0o700)
}

var errMissed = errors.New("a target is missed")

func report(out io.Writer, dir string, span time.Duration) error {
	r, err := measure(out, dir, span)
	if err != nil {
		return err
	}
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	if missed := r.missed(); missed != "" {
		_, _ = fmt.Fprintf(out, "missed: %s\n", missed)
		err = errMissed
	}
	_, _ = fmt.Fprintln(out, string(line)) // the last, for programs
	return err
}

func round(x float64) float64 { return math.Round(x*100) / 100 }
