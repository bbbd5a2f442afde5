package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"weepd/agent"
)

// steps notes what runs and in which order.
type steps chan string

func (s steps) work(name string) work {
	return func(ctx context.Context) error {
		s <- name + " runs"
		<-ctx.Done()
		s <- name + " stopped"
		return nil
	}
}

func (s steps) want(t *testing.T, list ...string) {
	t.Helper()
	for _, want := range list {
		select {
		case got := <-s:
			if got != want {
				t.Fatalf("%s, want %s", got, want)
			}
		case <-time.After(30 * time.Second):
			t.Fatalf("no %q", want)
		}
	}
}

// A part is replaced only once the old has stopped; what cannot be made leaves
// the old, made anew; if that fails too the part ends.
func TestPartIsReplaced(t *testing.T) {
	s := make(steps, 10)
	ctx, cancel := context.WithCancel(t.Context())
	p := newPart("page", s.work("a"))
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	s.want(t, "a runs")
	makes := func(name string) func() (work, error) { return func() (work, error) { return s.work(name), nil } }
	taken := errors.New("address taken")
	fails := func() (work, error) { return nil, taken }
	if err := p.replace(t.Context(), makes("b"), makes("a")); err != nil {
		t.Fatal(err)
	}
	s.want(t, "a stopped", "b runs")
	if err := p.replace(t.Context(), fails, makes("b")); !errors.Is(err, taken) {
		t.Fatalf("%v", err)
	}
	s.want(t, "b stopped", "b runs")
	cancel()
	s.want(t, "b stopped")
	if err := <-ended; err != nil {
		t.Error(err)
	}
	over, stop := context.WithCancel(t.Context())
	stop()
	if err := p.replace(over, makes("c"), makes("c")); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end: %v", err)
	}

	go func() { ended <- p.Run(t.Context()) }()
	s.want(t, "a runs")
	if err := p.replace(t.Context(), fails, fails); !errors.Is(err, taken) {
		t.Errorf("%v", err)
	}
	if err := <-ended; !errors.Is(err, taken) {
		t.Errorf("the part goes on: %v", err)
	}
}

// Loggers that were made before write where and as the newest handler does.
func TestLogIsSwitched(t *testing.T) {
	var first, second bytes.Buffer
	h := newSwitched(slog.NewTextHandler(&first, nil))
	log := slog.New(h)
	with := log.With("source", "a").WithGroup("g")
	with.Info("one", "k", 1)
	h.replace(slog.NewJSONHandler(&second, &slog.HandlerOptions{Level: slog.LevelWarn}))
	with.Info("two")
	with.Warn("three", "k", 2)
	if got := first.String(); !strings.Contains(got, "msg=one source=a g.k=1") || strings.Contains(got, "three") {
		t.Error(got)
	}
	if got := second.String(); !strings.Contains(got, `"msg":"three","source":"a","g":{"k":2}`) || strings.Contains(got, "two") {
		t.Error(got)
	}
}

func TestPageIsMadeAnewForItsOwnKeysOnly(t *testing.T) {
	for key, want := range map[string]bool{
		"glands.p1.limits.rise_c": false, "alarms.settle": false, "mqtt.broker": false, "log.level": false, "modbus.plc.url": false,
		"store.max_bytes": false, "station": false, "http.users": true, "http.tls.cert": true, "time_zone": true, "advice_file": false,
	} {
		if got := pageChanged([]agent.Change{{Key: key}}); got != want {
			t.Errorf("%s: %v", key, got)
		}
	}
}

func TestProblemIsOneLine(t *testing.T) {
	if got := problemOf(errors.Join(errors.New("a"), errors.New("b"))); got != "a | b" {
		t.Error(got)
	}
	if got := problemOf(errors.New(strings.TrimSpace(strings.Repeat("x\n", 8)))); got != "x | x | x | x | x (and 3 more)" {
		t.Error(got)
	}
}
