package export

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"weepd/agent"
)

// SocketName is the socket in the store's folder at which a running agent, which
// has the store for itself, exports. Who may open the folder's files may ask.
const SocketName = "export.sock"

const (
	path    = "/export"
	trailer = "Exported" // HTTP trailer with the outcome
	atOnce  = 2          // exports at a time: each holds some of the history in memory
	maxAsk  = 64 << 10
	syncFor = 10 * time.Second
)

// outcome is what follows the rows.
type outcome struct {
	agent.Exported
	Error string `json:"error,omitempty"`
}

// Server exports for others while the agent runs.
type Server struct {
	socket string
	store  Store
	sync   func(context.Context) error // writes what is not in the history yet
	log    *slog.Logger
	turns  chan struct{}
}

// NewServer makes a server in the store's folder.
func NewServer(folder string, store Store, sync func(context.Context) error, log *slog.Logger) *Server {
	return &Server{socket: filepath.Join(folder, SocketName), store: store, sync: sync, log: log, turns: make(chan struct{}, atOnce)}
}

// Run serves until ctx ends. A socket that cannot be made is told to the log and
// costs nothing else.
func (s *Server) Run(ctx context.Context) error {
	listener, err := s.listen(ctx)
	if err != nil {
		s.log.Warn("export: `weepd export` cannot ask this agent while it runs", "error", err)
		<-ctx.Done()
		return nil
	}
	server := &http.Server{
		Handler: http.HandlerFunc(s.answer), ReadTimeout: syncFor,
		ErrorLog:    slog.NewLogLogger(s.log.Handler(), slog.LevelWarn),
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	<-ctx.Done()
	err = server.Close()
	if served := <-done; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}

// listen takes the place of a socket that a killed agent left: the store is open,
// so no other agent has it.
func (s *Server) listen(ctx context.Context) (net.Listener, error) {
	if err := os.Remove(s.socket); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var lc net.ListenConfig
	var listener net.Listener
	err := nearby(s.socket, func(name string) (err error) {
		listener, err = lc.Listen(ctx, "unix", name)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(s.socket, 0o600); err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	listener.(*net.UnixListener).SetUnlinkOnClose(false) // it knows the socket by another name
	return unlinked{listener, s.socket}, nil
}

// unlinked is a listener whose socket is removed with it.
type unlinked struct {
	net.Listener
	socket string
}

func (u unlinked) Close() error {
	err := u.Listener.Close()
	if gone := os.Remove(u.socket); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
		err = errors.Join(err, gone)
	}
	return err
}

// nearby gives a socket's name as short as the 107 bytes that unix(7) allows:
// by way of the open folder, if its own is longer.
func nearby(socket string, use func(name string) error) (err error) {
	if len(socket) <= 100 {
		return use(socket)
	}
	folder, err := os.Open(filepath.Dir(socket))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, folder.Close()) }()
	return use(fmt.Sprintf("/proc/self/fd/%d/%s", folder.Fd(), filepath.Base(socket)))
}

func (s *Server) answer(w http.ResponseWriter, r *http.Request) {
	var q agent.ExportRequest
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxAsk)).Decode(&q); err != nil || r.URL.Path != path {
		http.Error(w, "this is for `weepd export` of the same version", http.StatusBadRequest)
		return
	}
	select {
	case s.turns <- struct{}{}:
		defer func() { <-s.turns }()
	case <-r.Context().Done():
		return
	}
	w.Header().Set("Trailer", trailer)
	var out outcome
	err := s.export(r.Context(), q, w, &out)
	if err != nil {
		out.Error = err.Error()
	}
	text, err := json.Marshal(out)
	if err != nil { // no number in it can fail
		s.log.Error("export", "error", err)
	}
	w.Header().Set(trailer, string(text))
}

func (s *Server) export(ctx context.Context, q agent.ExportRequest, w http.ResponseWriter, out *outcome) (err error) {
	syncing, cancel := context.WithTimeout(ctx, syncFor)
	defer cancel()
	unsaved := s.sync(syncing)
	out.Exported, err = Write(ctx, s.store, q, w)
	if unsaved != nil {
		out.Notes = append(out.Notes, fmt.Sprintf("the newest readings wait in the agent's memory, as its store cannot be written: %v", unsaved))
	}
	return err
}
