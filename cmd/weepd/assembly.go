package main

import (
	"context"
	"os"
	"slices"
	"time"

	"weepd/agent"
	"weepd/agent/expiry"
	"weepd/agent/export"
	"weepd/agent/metrics"
	"weepd/agent/mqtt"
	"weepd/agent/page"
	"weepd/agent/store"
	"weepd/agent/systemd"
	"weepd/agent/waking"
)

// assembly is an agent with all that is to run beside it.
type assembly struct {
	station   station
	manager   *systemd.Notifier
	agent     *agent.Agent
	journal   journal
	recorder  *agent.Recorder // nil: no history is kept
	ends      *expiry.Watch
	publisher publishing
	pusher    pushing
	measured  metrics.Parts
	parts     running
}

// kept is what the metrics tell of a store.
type kept struct {
	*store.Keeper
	recorder *agent.Recorder
}

func (k kept) HistoryDropped() uint64 { return k.Keeper.HistoryDropped() + k.recorder.Dropped() }

// assemble makes the agent and what is measured of it; nothing runs yet.
func (s station) assemble(ctx context.Context, manager *systemd.Notifier) (*assembly, error) {
	options := agent.Options{
		Station: s.id, Glands: s.glands, Feeds: s.feeds, Alarms: s.alarms, Clock: s.clock, Log: s.log,
		Turned: manager.Turned, NewTimer: kernelTimer,
	}
	journal, err := s.open(ctx, &options)
	if err != nil {
		return nil, err
	}
	options.Journal = journal
	if s.past != nil {
		options.Remembered = *s.past
	}
	one, err := agent.New(options)
	if err != nil {
		return nil, err
	}
	a := &assembly{station: s, manager: manager, agent: one, journal: journal, recorder: options.History, ends: expiry.New(s.log)}
	a.measured = metrics.Parts{
		Latest: one.Board().Latest, Queue: one, Outbox: journal, Version: version(),
		Publisher: a.publisher.measured, Writer: a.pusher.measured,
		Certificates: func() map[string]time.Time { return a.publisher.withBroker(a.ends.Ends()) },
	}
	if a.recorder != nil {
		a.measured.Store = kept{s.keeper, a.recorder}
	}
	return a, nil
}

// addParts makes the parts that a changed configuration may replace, and gives
// the page's address.
func (a *assembly) addParts(ctx context.Context) (address string, err error) {
	s := a.station
	a.parts = running{agent: a.agent, keeper: s.keeper, web: a.web, publisher: a.publish}
	if a.parts.pusher, err = a.pusher.maker(a.measured); err != nil {
		return "", err
	}
	server, err := a.web(ctx, s)
	if err != nil {
		return "", err
	}
	a.parts.mqtt, a.parts.page = newPart("mqtt", a.publish(s)), newPart("page", server.Run)
	a.parts.push = newPart("remote write", a.parts.pusher(s))
	return server.Addr(), nil
}

func (a *assembly) web(ctx context.Context, s station) (*page.Server, error) {
	a.ends.Set(s.certificates)
	return s.web(ctx, a.agent, a.journal, a.measured)
}

// publish makes the work of publishing as a station has it.
func (a *assembly) publish(s station) work {
	a.ends.Set(s.certificates)
	if s.mqtt == nil {
		a.publisher.set(nil)
		return idle
	}
	next := mqtt.New(*s.mqtt, a.agent.Board(), a.journal, a.agent, s.log)
	a.publisher.set(next)
	return next.Run
}

// services gives everything in the order of its start.
func (a *assembly) services(ctx context.Context, hangup <-chan os.Signal) []agent.Service {
	s := a.station
	list := slices.Concat(s.before, []agent.Service{{Name: "certificates", Run: a.ends.Run}})
	if a.recorder != nil {
		exporter := export.NewServer(s.keeper.Folder(), s.keeper, a.recorder.Sync, s.log)
		list = append(list, a.recorder.Service(a.agent.Board()), agent.Service{Name: "export", Run: exporter.Run})
	}
	list = append(list,
		agent.Service{Name: "remote write", Run: a.parts.push.Run},
		agent.Service{Name: "mqtt", Run: a.parts.mqtt.Run},
		agent.Service{Name: "page", Run: a.parts.page.Run})
	if s.watch != nil {
		list = append(list, s.watch(a.agent, a.journal))
	}
	list = append(list, managed(ctx, a.manager, a.agent))
	list = append(list, a.agent.Services()...)
	if ledger, kept := a.journal.(*agent.Ledger); kept && s.file != nil {
		a.parts.publish = ledger.SetPublish
		r := &reloader{
			configured: *s.file, station: s, parts: &a.parts, log: s.log,
			hangup: hangup, seen: s.file.text, judged: true, reloads: a.manager.Reloading, reloaded: a.manager.Reloaded,
		}
		list = append(list, agent.Service{Name: "reload", Run: r.run})
	}
	return list
}

func kernelTimer() (agent.Timer, error) {
	t, err := waking.NewTimer()
	if err != nil {
		return nil, err
	}
	return t, nil
}
