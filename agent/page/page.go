// Package page serves the operators' page, its API, the metrics and the health
// check over HTTP. It reads snapshots and the journal, never the core.
package page

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"hash/maphash"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/klauspost/compress/gzhttp"

	"weepd/agent"
)

// Bounds of a connection.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 10 * time.Second
	writeTimeout  = 15 * time.Second // a stream sets its own
	idleTimeout   = 60 * time.Second
	maxHeader     = 16 << 10
	stopTimeout   = time.Second
)

// Board is where the page sees the station.
type Board interface {
	Latest() *agent.Snapshot
	Changed() <-chan struct{}
}

// Journal is where the page reads events.
type Journal interface {
	Events(ctx context.Context, after uint64, limit int) ([]agent.Event, error)
	// Between gives the newest first.
	Between(ctx context.Context, h agent.Happened, limit int) ([]agent.Event, error)
}

// History is where the page reads what was measured: see agent.Recorder for the
// series.
type History interface {
	Samples(ctx context.Context, series string, from, to time.Time, most int) ([]agent.Sample, time.Duration, error)
}

// Section is a part of a gland's view that others fill in: a title over lines.
type Section struct {
	Title string
	Lines []Line
}

// Line is a name with its value, or a text alone.
type Line struct{ Name, Text string }

// Parts are what the page shows.
type Parts struct {
	Board   Board
	Journal Journal
	Alive   func() bool                     // the loop turns
	Metrics http.Handler                    // at /metrics
	Protect func(http.Handler) http.Handler // who may do what; nil: everybody everything
	TLS     *tls.Config                     // nil: not encrypted
	// Do carries out a command; nil: none are taken.
	Do func(ctx context.Context, c agent.Command) agent.Reply
	// Advice gives what to do about a condition: steps in order, and cautions
	// that come before them. nil: see the maker's instructions.
	Advice func(condition string) (steps, cautions []string)
	// User gives the name of who is logged in, empty if nobody is.
	User     func(ctx context.Context) string
	CanLogIn bool // there are users
	Version  string
	Log      *slog.Logger

	History      History                                           // nil: none is kept
	LongestShelf time.Duration                                     // 0: alarms may not be shelved
	Notices      func() []Notice                                   // more that everybody must know; may be nil
	Sheet        func(ctx context.Context, gland string) []Section // may be nil
	Zone         *time.Location                                    // of the times on the page; nil: this machine's
	Built        time.Time                                         // no right clock is before it; zero: as the program says
	Every        time.Duration                                     // between two readings on a live page; 0: a second
}

func (p Parts) withDefaults() Parts {
	if p.Zone == nil {
		p.Zone = time.Local
	}
	if p.Built.IsZero() {
		p.Built = built()
	}
	if p.Every == 0 {
		p.Every = streamEvery
	}
	return p
}

// Server serves the page on one listener.
type Server struct {
	parts     Parts
	loaded    func() error // once somebody looks: see ready
	texts     texts
	templates *template.Template
	static    *assets
	asset     string // names the version of script and style
	boot      string // names this run
	seed      maphash.Seed
	trends    *trends
	listener  net.Listener
	streams   chan struct{} // one token a stream

	mu        sync.Mutex // guards all below
	made      *station
	madeTrend uint64
	pages     []madePage
	pageCount uint64
}

// Listen takes the address, so that a port in use is known before anything
// starts. Run serves it.
func Listen(ctx context.Context, address string, parts Parts) (*Server, error) {
	s := &Server{parts: parts.withDefaults(), boot: rand.Text()[:8], seed: maphash.MakeSeed(), streams: make(chan struct{}, maxStreams)}
	s.loaded = sync.OnceValue(s.load)
	s.trends = newTrends(s.parts)
	var lc net.ListenConfig
	listener, err := lc.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("page: %w; set http.listen to a free address or stop the program that has it", err)
	}
	if parts.TLS != nil {
		listener = tls.NewListener(listener, parts.TLS)
	}
	s.listener = listener
	return s, nil
}

// load reads what is embedded, and sets the trends going.
func (s *Server) load() (err error) {
	close(s.trends.asked)
	if s.texts, err = loadTexts(); err != nil {
		return err
	}
	if s.static, err = loadAssets(); err != nil {
		return err
	}
	s.asset = s.static.version
	s.templates, err = template.New("").Funcs(s.functions()).ParseFS(htmlFiles, "html/*.html")
	return err
}

// Addr is the address that is listened on.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// Run serves until ctx ends. It closes the listener.
func (s *Server) Run(ctx context.Context) error {
	server := &http.Server{
		Handler:           s.handler(),
		ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
		ErrorLog:    slog.NewLogLogger(s.parts.Log.Handler(), slog.LevelWarn),
		BaseContext: func(net.Listener) context.Context { return ctx }, // ends streams
	}
	done := make(chan error, 1)
	go func() { done <- server.Serve(s.listener) }()
	var trending sync.WaitGroup
	trending.Go(func() { s.trends.run(ctx) })
	defer trending.Wait()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
	defer cancel()
	err := server.Shutdown(stop)
	if errors.Is(err, context.DeadlineExceeded) { // a client that reads slowly
		err = server.Close()
	}
	if served := <-done; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}

func (s *Server) handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", s.parts.Metrics)
	mux.HandleFunc("GET /healthz", s.health)
	s.views(mux)
	mux.Handle("GET /api/v1/glands", s.ready(s.glands))
	mux.Handle("GET /api/v1/alarms", s.ready(s.alarms))
	mux.Handle("GET /api/v1/events", s.ready(s.events))
	mux.Handle("GET /api/v1/stream", s.ready(s.stream))
	mux.Handle("GET /api/v1/upkeep", s.ready(s.upkeep))
	if s.parts.Do != nil {
		mux.Handle("POST /api/v1/command", s.ready(s.command))
	}
	if s.parts.Protect == nil {
		return secured(mux)
	}
	return secured(s.parts.Protect(mux))
}

// ready loads what is embedded when somebody looks for the first time: a station
// may be scraped for years and never be looked at, and templates are large.
func (s *Server) ready(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := s.loaded(); err != nil { // it is part of the program: the tests have loaded it
			s.parts.Log.Error("page cannot be loaded", "error", err)
			http.Error(w, "the page cannot be loaded", http.StatusInternalServerError)
			return
		}
		next(w, r)
	}
}

// views are for people.
func (s *Server) views(mux *http.ServeMux) {
	packed := func(pattern string, h http.HandlerFunc) { mux.Handle(pattern, s.ready(gzhttp.GzipHandler(h))) }
	packed("GET /{$}", s.overview)
	packed("GET /alarms", s.alarmList)
	packed("GET /gland/{id}", s.glandPage)
	packed("GET /gland/{id}/data.csv", s.data)
	packed("GET /login", s.login)
	packed("GET /static/", func(w http.ResponseWriter, r *http.Request) { s.static.serve(w, r) })
	mux.Handle("GET /live", s.ready(s.live))
	if s.parts.Do != nil {
		mux.Handle("POST /act", s.ready(s.act))
	}
}

// secured lets the browser load nothing but our own script, style and icons,
// and send forms nowhere else. A page says where its forms come from, which
// package access asks for.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

func (s *Server) health(w http.ResponseWriter, _ *http.Request) {
	if !s.parts.Alive() {
		http.Error(w, "the loop stands still", http.StatusServiceUnavailable)
		return
	}
	_, _ = fmt.Fprintln(w, "ok")
}
