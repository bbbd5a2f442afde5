package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"weepd/deploy/rig"
)

const scrapeEvery = 15 * time.Second // as deploy/prometheus has it

// step is one program at one size.
type step struct {
	Stations int     `json:"stations"`
	CPU      float64 `json:"cpu_percent"` // of one processor
	MB       float64 `json:"mb"`
	Lag99MS  float64 `json:"lag_99_ms,omitempty"` // broker: from one connection to another
	Lost     int     `json:"lost,omitempty"`
	Series   int     `json:"series,omitempty"`  // Prometheus
	Scraped  int     `json:"scraped,omitempty"` // of the stations
}

// farResult is the last line. A processor's worth is reckoned from the largest
// step: CPU beyond that of the smallest, for each station more.
type farResult struct {
	Broker               []step `json:"broker"`
	Prometheus           []step `json:"prometheus"`
	BrokerPerCore        int    `json:"broker_stations_a_processor"`
	PrometheusPerCore    int    `json:"prometheus_stations_a_processor"`
	BrokerPerGB          int    `json:"broker_stations_a_gb"`
	PrometheusPerGB      int    `json:"prometheus_stations_a_gb"`
	BrokerLost           int    `json:"broker_lost"`
	PrometheusNotScraped int    `json:"prometheus_not_scraped"`
}

func runFar(args []string, out, errs io.Writer) int {
	flags := flag.NewFlagSet("deploy/fleet far", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	steps, seconds, keep := flags.String("steps", "200,1000,2000", ""), flags.Int("seconds", 45, ""), flags.String("dir", "", "")
	if flags.Parse(args) != nil || flags.NArg() > 0 || *seconds < 1 {
		_, _ = fmt.Fprintln(errs, usage)
		return 2
	}
	var sizes []int
	for _, text := range strings.Split(*steps, ",") {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			_, _ = fmt.Fprintln(errs, usage)
			return 2
		}
		sizes = append(sizes, n)
	}
	return inFolder(*keep, out, errs, func(dir string) error {
		r, err := far(out, dir, sizes, time.Duration(*seconds)*time.Second)
		if err != nil {
			return err
		}
		return tell(out, r, r.BrokerLost+r.PrometheusNotScraped > 0)
	})
}

func far(out io.Writer, dir string, sizes []int, span time.Duration) (r farResult, err error) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for _, n := range sizes {
		s, err := farBroker(ctx, filepath.Join(dir, fmt.Sprintf("broker-%d", n)), n, span)
		if err != nil {
			return r, err
		}
		r.Broker = append(r.Broker, s)
		r.BrokerLost += s.Lost
		_, _ = fmt.Fprintf(out, "broker, %5d stations: %5.1f %% of a processor, %6.1f MB, lag of 99 %% %.1f ms, %d lost\n", n, s.CPU, s.MB, s.Lag99MS, s.Lost)
	}
	text, err := exposition(ctx, dir)
	if err != nil {
		return r, err
	}
	for _, n := range sizes {
		s, err := farPrometheus(ctx, filepath.Join(dir, fmt.Sprintf("prometheus-%d", n)), n, text, span)
		if err != nil {
			return r, err
		}
		r.Prometheus = append(r.Prometheus, s)
		r.PrometheusNotScraped += n - s.Scraped
		_, _ = fmt.Fprintf(out, "prometheus, %5d stations: %5.1f %% of a processor, %6.1f MB, %d series\n", n, s.CPU, s.MB, s.Series)
	}
	r.BrokerPerCore, r.BrokerPerGB = worth(r.Broker)
	r.PrometheusPerCore, r.PrometheusPerGB = worth(r.Prometheus)
	return r, nil
}

// worth gives how many stations fill one processor and one GB.
func worth(steps []step) (core, gb int) {
	first, last := steps[0], steps[len(steps)-1]
	if len(steps) == 1 {
		first = step{}
	}
	more := float64(last.Stations - first.Stations)
	return reckon(100, (last.CPU-first.CPU)/more), reckon(1000, (last.MB-first.MB)/more)
}

// reckon gives 0 where a station costs nothing that can be measured.
func reckon(whole, each float64) int {
	if !(each > 0) {
		return 0
	}
	return int(whole / each)
}

// spent measures a program over a while.
func spent(p *rig.Process, span time.Duration) (cpu, mb float64, err error) {
	before, err := rig.CPU(p.Pid())
	if err != nil {
		return 0, 0, err
	}
	began := time.Now()
	time.Sleep(span)
	after, err := rig.CPU(p.Pid())
	if err != nil {
		return 0, 0, err
	}
	rss, err := rig.RSS(p.Pid())
	return round(100 * (after - before).Seconds() / time.Since(began).Seconds()), round(float64(rss) / 1e6), err
}

// exposition is what a real station of eight glands says of itself.
func exposition(ctx context.Context, dir string) (text string, err error) {
	f := &site{dir: dir}
	s, err := newStation(0, 8, f, filepath.Join(dir, "station"))
	if err != nil {
		return "", err
	}
	own, cancel := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.run(own) }()
	time.Sleep(12 * time.Second) // every series is there: temperatures come each 7.5 s
	text, err = s.text()
	cancel()
	return text, errors.Join(err, <-done, s.keeper.Close())
}

func farPrometheus(ctx context.Context, dir string, n int, text string, span time.Duration) (s step, err error) {
	f := newBareSite(dir)
	defer func() { err = errors.Join(err, f.stop()) }()
	if err := f.serve(ctx); err != nil {
		return s, err
	}
	f.say(text)
	if err := f.startPrometheus(n); err != nil {
		return s, err
	}
	time.Sleep(2 * scrapeEvery) // until every station was scraped twice
	s.Stations = n
	if s.CPU, s.MB, err = spent(f.prometheus, max(span, scrapeEvery)); err != nil {
		return s, err
	}
	s.Series, s.Scraped, err = f.series(ctx)
	return s, err
}
