package page

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"

	"weepd/agent"
)

// Templates, words, script and style are large: a station that is only scraped does
// without, and whoever looks first has them.
func TestPageIsLoadedWhenSomebodyLooks(t *testing.T) {
	board := &fakeBoard{changed: make(chan struct{})}
	board.latest.Store(testSnapshot())
	s, err := Listen(t.Context(), "127.0.0.1:0", Parts{
		Board: board, Journal: agent.NewMemoryJournal(1, false), Alive: func() bool { return true }, Log: slog.New(slog.DiscardHandler),
		Metrics: http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}),
	})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.listener.Close() }()
	all := s.handler()
	for _, step := range []struct {
		path   string
		loaded bool
	}{{"/metrics", false}, {"/healthz", false}, {"/", true}} {
		answer := httptest.NewRecorder()
		all.ServeHTTP(answer, httptest.NewRequestWithContext(t.Context(), http.MethodGet, step.path, nil))
		if answer.Code != http.StatusOK || (s.templates != nil) != step.loaded || (s.texts != nil) != step.loaded {
			t.Errorf("%s: status %d, loaded %t; want 200, %t", step.path, answer.Code, s.templates != nil, step.loaded)
		}
	}
}
