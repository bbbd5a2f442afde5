package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"

	"weepd/agent"
)

// race times `weepd replay` beside `wc -l`.
type race struct {
	config string
	span   time.Duration
	rounds int
	shape  float64
	piped  bool
}

func proofReplayCommand(s streams) *cobra.Command {
	r := race{}
	cmd := &cobra.Command{
		Use:   "replay [--config FILE RECORDING]",
		Short: "Time a replay beside wc -l on the same warm file, on one processor",
		Long: `replay times "weepd replay" beside "wc -l" on the same file, round by round, each
as a process of its own on one and the same processor, after a first reading that
warms the file. Without a recording it simulates one gland for --for. The last
line is JSON: medians in seconds, their ratio, and the replay's processor time and
largest resident memory.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if (len(args) == 1) != (r.config != "") {
				return usageError{errors.New("a recording and its --config go together")}
			}
			if r.rounds < 1 {
				return usageError{errors.New("--rounds must be at least 1")}
			}
			return r.run(cmd.Context(), s, args)
		},
	}
	cmd.Flags().StringVarP(&r.config, "config", "c", "", "the recording's configuration")
	cmd.Flags().DurationVar(&r.span, "for", 8760*time.Hour, "length of the simulated recording")
	cmd.Flags().Float64Var(&r.shape, "shape", 8, "regularity of the simulated drip")
	cmd.Flags().IntVar(&r.rounds, "rounds", 9, "how often both are timed")
	cmd.Flags().BoolVar(&r.piped, "piped", false, "give the replay its recording on standard input")
	return cmd
}

// raceResult is the last line.
type raceResult struct {
	Bytes      int64   `json:"bytes"`
	Rows       string  `json:"rows"` // as the replay says it
	WC         float64 `json:"wc_s"`
	Replay     float64 `json:"replay_s"`
	Ratio      float64 `json:"ratio"`
	Processor  float64 `json:"replay_processor_s"`
	MaxRSSKiB  int64   `json:"replay_max_rss_kib"`
	Rounds     int     `json:"rounds"`
	Processors int     `json:"processors"`
}

func (r race) run(ctx context.Context, s streams, args []string) error {
	dir, err := os.MkdirTemp("", "weepd-race-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	if len(args) == 0 {
		path, err := r.prepare(ctx, dir)
		if err != nil {
			return err
		}
		args = []string{path}
	}
	// Children inherit the thread's one processor.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	var all, one unix.CPUSet
	if err := unix.SchedGetaffinity(0, &all); err != nil {
		return err
	}
	defer func() { _ = unix.SchedSetaffinity(0, &all) }()
	for cpu := range 1024 {
		if all.IsSet(cpu) {
			one.Set(cpu)
			break
		}
	}
	if err := unix.SchedSetaffinity(0, &one); err != nil {
		return err
	}
	return r.rate(ctx, s.out, args[0])
}

// prepare simulates a recording and writes a configuration for it.
func (r *race) prepare(ctx context.Context, dir string) (path string, err error) {
	r.config = filepath.Join(dir, "quarry.yaml")
	if err := os.WriteFile(r.config, []byte("station: quarry\nglands: [{id: g01, normal_dpm: 30}]\n"), 0o600); err != nil {
		return "", err
	}
	path = filepath.Join(dir, "year.csv")
	f, err := os.Create(path)
	if err != nil {
		return "", err
	}
	sim := agent.Simulation{
		Glands: []agent.SimulatedGland{{ID: "g01", DPM: 30}}, Seed: 1, From: time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC),
		For: r.span, Unit: time.Millisecond, Shape: r.shape, SplashShare: 0.005, MissShare: 0.005, TempEvery: 10 * time.Second,
	}
	return path, errors.Join(sim.Validate(), sim.Write(ctx, f), f.Close())
}

func (r race) rate(ctx context.Context, w io.Writer, path string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	result := raceResult{Bytes: info.Size(), Rounds: r.rounds, Processors: 1}
	var counts, replays, processor []float64
	out := &printer{w: w}
	for round := range r.rounds + 1 {
		count, err := timed(exec.CommandContext(ctx, "wc", "-l", path), "")
		if err != nil {
			return err
		}
		recording, input := path, ""
		if r.piped {
			recording, input = "-", path
		}
		replay, err := timed(exec.CommandContext(ctx, self, "replay", "--json", "--config", r.config, recording), input)
		if err != nil {
			return err
		}
		if round == 0 { // warms the file
			continue
		}
		out.printf("wc %.3f s  replay %.3f s  ratio %.1f\n", count.wall, replay.wall, replay.wall/count.wall)
		counts, replays, processor = append(counts, count.wall), append(replays, replay.wall), append(processor, replay.processor)
		result.MaxRSSKiB = max(result.MaxRSSKiB, replay.rssKiB)
		result.Rows = strings.TrimSpace(strings.TrimPrefix(replay.said, "rows used: "))
	}
	result.WC, result.Replay, result.Processor = median(counts), median(replays), median(processor)
	result.Ratio = result.Replay / result.WC
	return errors.Join(out.err, json.NewEncoder(w).Encode(result))
}

// timing is what a process took.
type timing struct {
	wall, processor float64 // s
	rssKiB          int64
	said            string // the last line on standard error
}

func timed(cmd *exec.Cmd, input string) (t timing, err error) {
	var said strings.Builder
	cmd.Stderr = &said
	if input != "" {
		f, err := os.Open(input)
		if err != nil {
			return t, err
		}
		defer func() { _ = f.Close() }()
		cmd.Stdin = f
	}
	start := time.Now()
	if err := cmd.Run(); err != nil {
		return t, fmt.Errorf("%s: %w: %s", cmd, err, said.String())
	}
	t.wall = time.Since(start).Seconds()
	t.processor = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	if use, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		t.rssKiB = int64(use.Maxrss) //nolint:unconvert // 32 bits on 32-bit machines
	}
	for lines := bufio.NewScanner(strings.NewReader(said.String())); lines.Scan(); {
		t.said = lines.Text()
	}
	return t, nil
}

func median(list []float64) float64 {
	list = slices.Sorted(slices.Values(list))
	return (list[(len(list)-1)/2] + list[len(list)/2]) / 2
}
