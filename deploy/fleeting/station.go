package main

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"weepd/agent"
	"weepd/agent/metrics"
	"weepd/agent/mqtt"
	"weepd/agent/store"
	"weepd/sensors"
)

// station is one agent with its store, as `weepd run` makes it, but for its page.
type station struct {
	id        string
	keeper    *store.Keeper
	ledger    *agent.Ledger
	agent     *agent.Agent
	recorder  *agent.Recorder
	publisher *mqtt.Publisher
	metrics   prometheus.Gatherer
	log       *slog.Logger
	quiet     func() // stops it; ended is closed then
	ended     chan struct{}
}

func newStation(n, glands int, f *site, dir string) (*station, error) {
	s := &station{id: stationID(n), ended: make(chan struct{}), log: slog.New(slog.DiscardHandler)}
	var err error
	if s.keeper, err = store.OpenKeeper(filepath.Join(dir, s.id), store.Options{}, s.log); err != nil {
		return nil, err
	}
	clock := agent.NewClock(nil)
	o := agent.Options{Station: s.id, Clock: clock, Log: s.log}
	var ids []string
	for i := range glands {
		id := fmt.Sprintf("g%02d", i)
		ids = append(ids, id)
		o.Glands = append(o.Glands, agent.GlandInfo{Name: id, Rules: glandConfig(id)})
		phase := 2 * loadChange * time.Duration((n*glands+i)*7919%10007) / 10007
		swing := swinging{id, phase, clock.Steady}
		o.Feeds = append(o.Feeds, agent.Feed{Name: swing.String(), Points: swing.Points(), Open: func() (sensors.Source, error) { return swing, nil }})
	}
	drops, err := dripping(n, ids, clock.Steady)
	if err != nil {
		return nil, err
	}
	o.Feeds = append(o.Feeds, agent.Feed{Name: drops.String(), Points: drops.Points(), Open: func() (sensors.Source, error) { return drops, nil }})
	s.ledger = agent.NewLedger(s.keeper, true, s.log)
	s.recorder = agent.NewRecorder(s.keeper, clock, s.log)
	o.Journal, o.History = s.ledger, s.recorder
	if s.agent, err = agent.New(o); err != nil {
		return nil, err
	}
	s.publisher = mqtt.New(f.mqttConfig(s.id), s.agent.Board(), s.ledger, s.agent, s.log)
	s.metrics, err = metrics.New(metrics.Parts{
		Latest: s.agent.Board().Latest, Queue: s.agent, Outbox: s.ledger, Version: "fleet",
		Publisher: func() metrics.Publisher { return s.publisher },
	})
	return s, err
}

func (s *station) run(ctx context.Context) error {
	return agent.RunAll(ctx, s.log, append([]agent.Service{
		s.recorder.Service(s.agent.Board()), {Name: "mqtt", Run: s.publisher.Run},
	}, s.agent.Services()...)...)
}

func (s *station) handler() http.Handler {
	return promhttp.HandlerFor(s.metrics, promhttp.HandlerOpts{})
}

// journal gives the numbers of all events.
func (s *station) journal(ctx context.Context) (seqs []uint64, err error) {
	for after := uint64(0); ; {
		events, err := s.ledger.Events(ctx, after, 1000)
		if err != nil || len(events) == 0 {
			return seqs, err
		}
		for _, e := range events {
			seqs = append(seqs, e.Seq)
			after = e.Seq
		}
	}
}

// text is what the station tells Prometheus.
func (s *station) text() (string, error) {
	request, err := http.NewRequestWithContext(context.Background(), http.MethodGet, "/", nil)
	if err != nil {
		return "", err
	}
	answer := httptest.NewRecorder()
	s.handler().ServeHTTP(answer, request)
	return answer.Body.String(), nil
}
