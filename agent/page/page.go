// Package page serves the operators' page, its API, the metrics and the health
// check over HTTP. It reads snapshots and the journal, never the core.
package page

import (
	"context"
	"crypto/tls"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"time"

	"weepd/agent"
)

//go:embed page.html static
var files embed.FS

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
}

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
	// that come before them. nil: the page's own.
	Advice func(condition string) (steps, cautions []string)
	// User gives the name of who is logged in, empty if nobody is.
	User    func(ctx context.Context) string
	Version string
	Log     *slog.Logger
}

// Server serves the page on one listener.
type Server struct {
	parts    Parts
	page     *template.Template
	listener net.Listener
	streams  chan struct{} // one token a stream
}

// Listen takes the address, so that a port in use is known before anything
// starts. Run serves it.
func Listen(ctx context.Context, address string, parts Parts) (*Server, error) {
	page, err := template.New("page.html").Funcs(texts).ParseFS(files, "page.html")
	if err != nil {
		return nil, err
	}
	var lc net.ListenConfig
	listener, err := lc.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("page: %w; set http.listen to a free address or stop the program that has it", err)
	}
	if parts.TLS != nil {
		listener = tls.NewListener(listener, parts.TLS)
	}
	return &Server{parts: parts, page: page, listener: listener, streams: make(chan struct{}, maxStreams)}, nil
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
	mux.HandleFunc("GET /{$}", s.index)
	mux.Handle("GET /static/", http.FileServerFS(files))
	mux.Handle("GET /metrics", s.parts.Metrics)
	mux.HandleFunc("GET /healthz", s.health)
	mux.HandleFunc("GET /api/v1/glands", s.glands)
	mux.HandleFunc("GET /api/v1/alarms", s.alarms)
	mux.HandleFunc("GET /api/v1/events", s.events)
	mux.HandleFunc("GET /api/v1/stream", s.stream)
	if s.parts.Do != nil {
		mux.HandleFunc("POST /api/v1/command", s.command)
	}
	if s.parts.Protect == nil {
		return secured(mux)
	}
	return secured(s.parts.Protect(mux))
}

// secured lets the browser load nothing but our own style sheet and icon.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
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
