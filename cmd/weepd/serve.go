package main

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"sync/atomic"
	"syscall"
	"time"

	"weepd/agent"
	"weepd/agent/access"
	"weepd/agent/expiry"
	"weepd/agent/metrics"
	"weepd/agent/mqtt"
	"weepd/agent/page"
	"weepd/agent/remotewrite"
	"weepd/agent/store"
	"weepd/agent/systemd"
	"weepd/rules/advice"
	"weepd/rules/sheet"
)

// journalSize bounds the events in memory.
const journalSize = 10_000

// station is what `run` and `demo` have in common.
type station struct {
	id           string
	glands       []agent.GlandInfo
	feeds        []agent.Feed
	clock        *agent.Clock
	alarms       agent.AlarmSettings
	keeper       *store.Keeper       // nil: nothing is kept on a disk
	past         *agent.Remembered   // invented, instead of what the keeper remembers; nil: none
	mqtt         *mqtt.Config        // nil: nothing is published
	pushTo       *remotewrite.Config // nil: metrics are only scraped
	listen       string
	orFree       bool // take a free port if listen is taken
	access       access.Policy
	tls          *tls.Config // nil: HTTP is not encrypted
	advice       advice.Book
	certificates []expiry.File            // whose end is watched
	sheets       map[string]sheet.Input   // by gland
	texts        *atomic.Pointer[station] // whose advice and sheets the page shows: they change under it
	zone         *time.Location           // of times on the page; nil: this machine's
	before       []agent.Service          // started first, stopped last
	log          *slog.Logger
	logTo        io.Writer
	file         *configured                               // what may change while it runs; nil: nothing
	watch        func(*agent.Agent, journal) agent.Service // may be nil
	started      func(pageAddress string)
}

// journal is where events are kept, for all who need it.
type journal interface {
	agent.Journal
	mqtt.Outbox
	page.Journal
	metrics.Outbox
}

// open gives the journal and what the run before left.
func (s station) open(ctx context.Context, o *agent.Options) (journal, error) {
	if s.keeper == nil {
		return agent.NewMemoryJournal(journalSize, s.mqtt != nil), nil
	}
	ledger := agent.NewLedger(s.keeper, s.mqtt != nil, s.log)
	remembered, err := s.keeper.Remember(ctx)
	if err != nil {
		return nil, err
	}
	o.Remembered = remembered
	o.History = agent.NewRecorder(s.keeper, s.clock, s.log)
	return ledger, nil
}

// serve runs the agent with its publishers until ctx ends.
func (s station) serve(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	manager, err := systemd.New(s.log)
	if err != nil {
		return err
	}
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP) // else it ends the program
	defer signal.Stop(hangup)
	s.texts = new(atomic.Pointer[station])
	s.texts.Store(&s)
	whole, err := s.assemble(ctx, manager)
	if err != nil {
		return err
	}
	address, err := whole.addParts(ctx)
	if err != nil {
		return err
	}
	s.started(address)
	return agent.RunAll(ctx, s.log, whole.services(ctx, hangup)...)
}

// web makes the page with all that is under its address.
func (s station) web(ctx context.Context, a *agent.Agent, journal page.Journal, measured metrics.Parts) (*page.Server, error) {
	gathered, err := metrics.New(measured)
	if err != nil {
		return nil, err
	}
	scrapes, err := scraped(gathered)
	if err != nil {
		return nil, err
	}
	guard, err := access.New(s.access)
	if err != nil {
		return nil, err
	}
	return s.page(ctx, page.Parts{
		Protect: guard.Protect, TLS: s.tls, Do: a.Do, User: userName,
		Board: a.Board(), Journal: journal, Alive: a.Alive, Version: version(), Log: s.log,
		Metrics: scrapes, Advice: s.adviceLines,
		Sheet: s.sheetNow, Zone: s.zone,
		CanLogIn: s.access.Users != nil, LongestShelf: s.alarms.LongestShelf, History: s.history(),
		Notices: func() []page.Notice { return notices(a.Board().Latest()) },
	})
}

// adviceLines gives the advice in force.
func (s station) adviceLines(condition string) (steps, cautions []string) {
	return s.texts.Load().advice.Lines(condition)
}

// sheetNow gives a gland's sheet as its configuration is in force.
func (s station) sheetNow(ctx context.Context, gland string) []page.Section {
	return s.texts.Load().sheetSections(ctx, gland)
}

// notices are what everybody who looks at the page must know beside the store.
func notices(s *agent.Snapshot) []page.Notice {
	if s.Config.Problem == "" {
		return nil
	}
	return []page.Notice{{
		Severity: "medium", Since: s.Config.Since,
		Text: "A changed configuration is at fault and not in force; the old one is. " + s.Config.Problem,
	}}
}

// history is nil without a store.
func (s station) history() page.History {
	if s.keeper == nil {
		return nil
	}
	return s.keeper
}

func userName(ctx context.Context) string {
	who, _ := access.User(ctx)
	return who.Name
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
