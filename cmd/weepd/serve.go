package main

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"syscall"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"weepd/agent"
	"weepd/agent/access"
	"weepd/agent/metrics"
	"weepd/agent/mqtt"
	"weepd/agent/page"
)

// journalSize bounds the events in memory.
const journalSize = 10_000

// station is what `run` and `demo` have in common.
type station struct {
	id      string
	glands  []agent.GlandInfo
	feeds   []agent.Feed
	clock   *agent.Clock
	mqtt    *mqtt.Config // nil: nothing is published
	listen  string
	orFree  bool // take a free port if listen is taken
	access  access.Policy
	tls     *tls.Config     // nil: HTTP is not encrypted
	before  []agent.Service // started first, stopped last
	log     *slog.Logger
	watch   func(*agent.Agent, *agent.MemoryJournal) agent.Service // may be nil
	started func(pageAddress string)
}

// serve runs the agent with its publishers until ctx ends.
func (s station) serve(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	answerHangup(ctx, s.log)
	journal := agent.NewMemoryJournal(journalSize, s.mqtt != nil)
	a, err := agent.New(agent.Options{
		Station: s.id, Glands: s.glands, Feeds: s.feeds, Journal: journal, Clock: s.clock, Log: s.log,
	})
	if err != nil {
		return err
	}
	measured := metrics.Parts{Latest: a.Board().Latest, Queue: a, Outbox: journal, Version: version()}
	services := s.before
	if s.mqtt != nil {
		publisher := mqtt.New(*s.mqtt, a.Board(), journal, s.log)
		measured.Publisher = publisher
		services = append(services, agent.Service{Name: "mqtt", Run: publisher.Run})
	}
	registry := prometheus.NewRegistry()
	if err := metrics.Register(registry, measured); err != nil {
		return err
	}
	guard, err := access.New(s.access)
	if err != nil {
		return err
	}
	server, err := s.page(ctx, page.Parts{
		Protect: guard.Protect, TLS: s.tls,
		Board: a.Board(), Journal: journal, Alive: a.Alive, Version: version(), Log: s.log,
		Metrics: promhttp.HandlerFor(registry, promhttp.HandlerOpts{}),
	})
	if err != nil {
		return err
	}
	services = append(services, agent.Service{Name: "page", Run: server.Run})
	if s.watch != nil {
		services = append(services, s.watch(a, journal))
	}
	s.started(server.Addr())
	return agent.RunAll(ctx, s.log, append(services, a.Services()...)...)
}

func (s station) page(ctx context.Context, parts page.Parts) (*page.Server, error) {
	server, err := page.Listen(ctx, s.listen, parts)
	if s.orFree && errors.Is(err, syscall.EADDRINUSE) {
		return page.Listen(ctx, freePort(s.listen), parts)
	}
	return server, err
}

func freePort(address string) string {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	return net.JoinHostPort(host, "0")
}

// answerHangup says in the log what SIGHUP, which ends a program by default,
// does not do yet, until ctx ends.
func answerHangup(ctx context.Context, log *slog.Logger) {
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	go func() {
		defer signal.Stop(hangup)
		for {
			select {
			case <-hangup:
				log.Warn("SIGHUP: the configuration is not read again; restart the agent to take a change over")
			case <-ctx.Done():
				return
			}
		}
	}()
}
