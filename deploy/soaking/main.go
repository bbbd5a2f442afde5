// Command soaking kills the agent and cuts its link at random moments, and
// holds what arrived against the journal. It also measures latency and drain
// rate beside paho alone. `deploy/soak` runs it.
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"time"
)

// result is the last line.
type result struct {
	Rounds       int     `json:"rounds"`
	Events       int     `json:"events"`
	Lost         int     `json:"lost"`
	Reordered    int     `json:"reordered"`
	Changed      int     `json:"changed"`
	LatencyRatio float64 `json:"latency_ratio"`
	DrainRatio   float64 `json:"drain_ratio"`
}

// Targets.
const (
	latencyMost = 2.0
	drainLeast  = 0.5
)

// missed names the targets that were missed.
func (r result) missed() string {
	var words []string
	for _, t := range []struct {
		missed bool
		word   string
	}{
		{r.Lost > 0, "lost"}, {r.Reordered > 0, "reordered"}, {r.Changed > 0, "changed"},
		{!(r.LatencyRatio <= latencyMost), "latency_ratio"}, {!(r.DrainRatio >= drainLeast), "drain_ratio"},
	} {
		if t.missed {
			words = append(words, t.word)
		}
	}
	return strings.Join(words, ", ")
}

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

const usage = `usage: deploy/soak [--rounds N] [--seed N]   kill, stop and cut; compare; measure
       deploy/soak latency [--seed N]         from the source to a subscriber, alone
       deploy/soak offline [--hours N]        days without a broker
       deploy/soak disk                       full, read-only, damaged (root or sudo)
Each takes --dir FOLDER for stores and logs, which is then kept.`

// options are what the command line says.
type options struct {
	check string // empty: rounds
	n     int
	seed  uint64
	hours int
	keep  string
}

func parse(args []string) (options, bool) {
	var o options
	if len(args) > 0 && slices.Contains([]string{"latency", "offline", "disk"}, args[0]) {
		o.check, args = args[0], args[1:]
	}
	flags := flag.NewFlagSet("deploy/soak", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.IntVar(&o.n, "rounds", 20, "")
	flags.Uint64Var(&o.seed, "seed", rand.Uint64()>>1, "")
	flags.IntVar(&o.hours, "hours", 48, "")
	flags.StringVar(&o.keep, "dir", "", "")
	return o, flags.Parse(args) == nil && flags.NArg() == 0 && o.n > 0 && o.hours > 0
}

func run(args []string, out, errs io.Writer) int {
	if len(args) == 2 && args[0] == bareWord {
		if err := publishBare(args[1], os.Stdin, out); err != nil {
			_, _ = fmt.Fprintln(errs, err)
			return 1
		}
		return 0
	}
	o, ok := parse(args)
	if !ok {
		_, _ = fmt.Fprintln(errs, usage)
		return 2
	}
	dir, err := folder(o.keep)
	if err == nil {
		_, _ = fmt.Fprintf(out, "seed %d, logs in %s\n", o.seed, dir)
		err = o.run(out, dir)
	}
	if err != nil {
		if !errors.Is(err, errMissed) { // the output has said it
			_, _ = fmt.Fprintln(errs, err)
		}
		return 1
	}
	if o.keep == "" {
		_ = os.RemoveAll(dir) // of no use any more
	}
	return 0
}

func (o options) run(out io.Writer, dir string) error {
	binary, err := build(dir)
	if err != nil {
		return err
	}
	switch o.check {
	case "latency":
		return runLatency(out, dir, binary, o.seed)
	case "offline":
		return runOffline(out, dir, binary, o.hours)
	case "disk":
		return runDisk(out, dir, binary)
	}
	r, err := soak(out, dir, binary, o.seed, o.n)
	if err != nil {
		return err
	}
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	if r.missed() != "" {
		_, _ = fmt.Fprintf(out, "missed: %s\n", r.missed())
		err = errMissed
	}
	_, _ = fmt.Fprintln(out, string(line)) // the last, for programs
	return err
}

var errMissed = errors.New("a target is missed")

func folder(keep string) (string, error) {
	if keep == "" {
		return os.MkdirTemp("", "weepd-soak-")
	}
	return keep, makeDirs(keep)
}

func makeDirs(dir string) error { return os.MkdirAll(dir, 0o700) }

func soak(out io.Writer, dir, binary string, seed uint64, n int) (result, error) {
	r := result{Rounds: n}
	began := time.Now()
	v, err := runRounds(out, dir, binary, seed, n)
	if err != nil {
		return r, err
	}
	for _, text := range v.words {
		_, _ = fmt.Fprintln(out, text)
	}
	r.Events, r.Lost, r.Reordered, r.Changed = v.events, v.lost, v.reordered, v.changed
	if r.LatencyRatio, err = measureLatency(out, dir, binary, rand.New(rand.NewPCG(seed, 1))); err != nil {
		return r, err
	}
	if r.DrainRatio, err = measureDrain(out, dir, binary); err != nil {
		return r, err
	}
	r.LatencyRatio, r.DrainRatio = round(r.LatencyRatio), round(r.DrainRatio)
	_, _ = fmt.Fprintf(out, "took %s\n", time.Since(began).Round(time.Second))
	return r, nil
}

func round(x float64) float64 { return float64(int(x*100+.5)) / 100 }
