package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"weepd/deploy/rig"
)

// subject is a program that is measured, with its own way to the broker.
type subject struct {
	name    string
	glands  int // 0: the floor
	drops   int // a minute, that the floor wakes for
	dir     string
	broker  int
	port    int
	link    *meter
	process *rig.Process

	began time.Time
	cpu   time.Duration
	bytes int64
}

func (s *subject) start(b binaries) (err error) {
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return err
	}
	if s.port, err = rig.FreePort(); err != nil {
		return err
	}
	if s.link, err = newMeter(fmt.Sprintf("127.0.0.1:%d", s.broker)); err != nil {
		return err
	}
	listen, log := fmt.Sprintf("127.0.0.1:%d", s.port), filepath.Join(s.dir, "log")
	if s.glands == 0 {
		args := []string{"--broker", s.link.url(), "--listen", listen, "--dir", s.dir, "--name", filepath.Base(s.dir)}
		if s.drops > 0 {
			args = append(args, "--wake", (time.Minute / time.Duration(s.drops)).String())
		}
		s.process, err = rig.Start(log, b.floor, args...)
	} else {
		config := filepath.Join(s.dir, "station.yaml")
		if err := s.write(config, listen); err != nil {
			return err
		}
		s.process, err = rig.Start(log, b.weepd, "run", "--config", config)
	}
	if err != nil {
		return err
	}
	return s.process.Await(s.name+" is scraped", func() bool { return s.scrape() == nil })
}

const weep = 30 // drops a minute of a gland: the wanted weep of synthetic packing

// write makes a quiet station: a drop sensor for each gland, which keeps its drops
// until it is asked for them or, when anything is in the air, wakes the agent once a
// drop, as a pin does (a pin also makes a read each time that it is asked, under 1 µs);
// a temperature each, read every 10 s from a file, as from a kernel's node; two glands
// share a shaft and a reference.
func (s *subject) write(config, listen string) error {
	var b strings.Builder
	fmt.Fprintf(&b, "station: quiet%d\nhttp: {listen: %q}\nstore: {path: store}\nmqtt: {broker: %q}\nglands:\n", s.glands, listen, s.link.url())
	for i := range s.glands {
		run, ref := "{source: simulated}", "{source: file, path: ref}"
		if i%2 == 1 {
			run, ref = fmt.Sprintf("{source: shared, point: g%d.run}", i-1), fmt.Sprintf("{source: shared, point: g%d.ref}", i-1)
		}
		fmt.Fprintf(&b, "  - {id: g%d, sensors: {drip: {source: simulated, dpm: %d}, temp: {source: file, path: temp}, ref: %s, run: %s}}\n", i, weep, ref, run)
	}
	for name, text := range map[string]string{config: b.String(), filepath.Join(s.dir, "temp"): "41.5\n", filepath.Join(s.dir, "ref"): "20\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			return err
		}
	}
	return nil
}

func (s *subject) scrape() error {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("http://127.0.0.1:%d/metrics", s.port), nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return fmt.Errorf("%s: %w", s.name, err)
	}
	defer func() { _ = answer.Body.Close() }()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: /metrics answers %s", s.name, answer.Status)
	}
	_, err = io.Copy(io.Discard, answer.Body)
	return err
}

func (s *subject) begin() (err error) {
	s.began, s.bytes = time.Now(), s.link.count()
	s.cpu, err = rig.CPU(s.process.Pid())
	return err
}

func (s *subject) end() (cost, error) {
	span := time.Since(s.began).Seconds()
	cpu, err := rig.CPU(s.process.Pid())
	if err != nil {
		return cost{}, err
	}
	rss, err := rig.RSS(s.process.Pid())
	return cost{
		name: s.name, glands: s.glands, rss: float64(rss),
		cpu: (cpu - s.cpu).Seconds() / span, wire: float64(s.link.count()-s.bytes) / span,
	}, err
}

func (s *subject) stop() {
	if s.process != nil {
		s.process.Kill()
	}
	if s.link != nil {
		s.link.close()
	}
}
