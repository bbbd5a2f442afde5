package page

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const hostile = `<script>alert(1)</script>"'&`

type fakeBoard struct {
	latest  atomic.Pointer[agent.Snapshot]
	mu      sync.Mutex
	changed chan struct{}
}

func (b *fakeBoard) Latest() *agent.Snapshot  { return b.latest.Load() }
func (b *fakeBoard) Changed() <-chan struct{} { b.mu.Lock(); defer b.mu.Unlock(); return b.changed }

func (b *fakeBoard) change() {
	b.mu.Lock()
	defer b.mu.Unlock()
	close(b.changed)
	b.changed = make(chan struct{})
}

func testSnapshot() *agent.Snapshot {
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	s := &agent.Snapshot{Station: "quarry", Time: at}
	known := func(v float64) rules.Quantity { return rules.Quantity{Value: v, Known: true} }
	add := func(id, name string, state rules.GlandState) {
		g := agent.Gland{GlandInfo: agent.GlandInfo{Name: name, Rules: rules.GlandConfig{
			ID: id, Fitted: rules.Fitted{true, true, true, true},
			Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25},
		}}, State: state}
		for k := range g.Points {
			g.Points[k] = agent.PointState{Seen: true, Age: 3 * time.Second}
		}
		g.Points[reading.Drip].Quality = state.Quality
		s.Glands = append(s.Glands, g)
		for c := range rules.Conditions {
			s.Alarms = append(s.Alarms, agent.Alarm{Gland: id, Condition: c.String(), State: agent.StateCleared, Priority: c.Priority().String()})
		}
	}
	add("calm", "Calm", rules.GlandState{Weep: rules.Weep{DPM: 31.2345, LowDPM: 27, HighDPM: 36, Known: true}, RiseC: known(9.87), Running: known(1)})
	add("leaky", "Leaky", rules.GlandState{Weep: rules.Weep{DPM: 122, LowDPM: 110, HighDPM: 133, Known: true}, Running: known(1)})
	add("hot", hostile, rules.GlandState{Quality: reading.Storm, Running: known(0)})
	set := func(i int, message string) {
		since := at.Add(-time.Minute)
		s.Alarms[i].State, s.Alarms[i].Since, s.Alarms[i].Message = agent.StateActive, &since, message
	}
	set(int(rules.Conditions)+int(rules.Leaking), "Weep 122 a minute.")
	set(2*int(rules.Conditions)+int(rules.Burning), hostile)
	return s
}

type bench struct {
	url     string
	board   *fakeBoard
	journal *agent.MemoryJournal
	alive   atomic.Bool
	stop    func()
}

func serve(t *testing.T, changes ...func(*Parts)) *bench {
	t.Helper()
	b := &bench{board: &fakeBoard{changed: make(chan struct{})}, journal: agent.NewMemoryJournal(100, false)}
	b.board.latest.Store(testSnapshot())
	b.alive.Store(true)
	parts := Parts{
		Board: b.board, Journal: b.journal, Alive: b.alive.Load, Version: "1",
		Metrics: http.NotFoundHandler(), Log: slog.New(slog.DiscardHandler), Zone: time.UTC,
	}
	for _, change := range changes {
		change(&parts)
	}
	server, err := Listen(t.Context(), "127.0.0.1:0", parts)
	if err != nil {
		t.Fatal(err)
	}
	b.url = "http://" + server.Addr()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx) }()
	b.stop = func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		http.DefaultClient.CloseIdleConnections()
	}
	return b
}

func (b *bench) get(t *testing.T, path string) (head http.Header, status int, body string) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.url+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := response.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return response.Header, response.StatusCode, string(text)
}

func TestPageShowsTheWorstFirst(t *testing.T) {
	b := serve(t)
	defer b.stop()
	head, _, body := b.get(t, "/")
	if csp := head.Get("Content-Security-Policy"); !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
		t.Errorf("CSP %q", csp)
	}
	inOrder(t, body, "2 open · quarry", "burning", "high priority", "leaking", "medium priority", "role=\"table\"",
		"burning", "pulse storm", "at rest", "Leaky", ">122<", "110–133",
		"Calm", ">31<", "27–36", ">9.9<", "turning", "weepd is no safety system")
	for _, never := range []string{"<script>", "31.23", "NaN", " style=", "EXTRA", "%!"} {
		if strings.Contains(body, never) {
			t.Errorf("the page has %q", never)
		}
	}
	b.alive.Store(false)
	if _, _, body := b.get(t, "/"); !strings.Contains(body, "The agent stands still") {
		t.Error("the page does not say that the agent stands still")
	}
}

func inOrder(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		_, after, found := strings.Cut(text, part)
		if !found {
			t.Fatalf("%q is not where it should be, in the rest:\n%s", part, text)
		}
		text = after
	}
}

func TestHealthFollowsTheLoop(t *testing.T) {
	b := serve(t)
	defer b.stop()
	if _, status, _ := b.get(t, "/healthz"); status != http.StatusOK {
		t.Errorf("alive: %d", status)
	}
	b.alive.Store(false)
	if _, status, _ := b.get(t, "/healthz"); status != http.StatusServiceUnavailable {
		t.Errorf("standing still: %d", status)
	}
}

func TestAPI(t *testing.T) {
	b := serve(t)
	defer b.stop()
	b.journal.Commit(t.Context(), &agent.Batch{Events: make([]agent.Event, 3)})
	_, _, body := b.get(t, "/api/v1/glands")
	var glands []map[string]any
	if err := json.Unmarshal([]byte(body), &glands); err != nil {
		t.Fatal(err)
	}
	if len(glands) != 3 || glands[0]["dpm"] != 31.23 || glands[2]["quality"] != "storm" || glands[2]["name"] != hostile {
		t.Errorf("glands %v", glands)
	}
	if _, has := glands[2]["dpm"]; has {
		t.Error("an unknown weep must be absent")
	}
	for path, want := range map[string]int{"/api/v1/alarms": 2, "/api/v1/alarms?all": 3 * int(rules.Conditions), "/api/v1/events": 3, "/api/v1/events?after=2": 1, "/api/v1/events?after=9": 0} {
		_, _, body := b.get(t, path)
		var list []any
		if err := json.Unmarshal([]byte(body), &list); err != nil || len(list) != want {
			t.Errorf("%s: %d entries, error %v, want %d", path, len(list), err, want)
		}
	}
	_, status, body := b.get(t, "/api/v1/events?after=-1")
	if status != http.StatusBadRequest || !strings.Contains(body, "want the seq of an event") {
		t.Errorf("after=-1: %d %s", status, body)
	}
	if _, status, _ := b.get(t, "/nothing"); status != http.StatusNotFound {
		t.Errorf("unknown path: %d", status)
	}
}

func TestStreamResumesAndSendsWhatComes(t *testing.T) {
	b := serve(t)
	b.journal.Commit(t.Context(), &agent.Batch{Events: make([]agent.Event, 3)})
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.url+"/api/v1/stream", nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Last-Event-ID", "2")
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(response.Body)
	expectLines(t, lines, "id: 3", "event: event", `"id":"calm"`, `"id":"leaky"`, `"id":"hot"`)
	b.journal.Commit(t.Context(), &agent.Batch{Events: make([]agent.Event, 1)})
	b.board.change()
	expectLines(t, lines, "id: 4", "event: event")
	b.stop() // also ends the stream
	if err := response.Body.Close(); err != nil {
		t.Fatal(err)
	}
}

func expectLines(t *testing.T, lines *bufio.Scanner, parts ...string) {
	t.Helper()
	for _, part := range parts {
		for found := false; !found; {
			if !lines.Scan() {
				t.Fatalf("the stream ended before %q", part)
			}
			found = strings.Contains(lines.Text(), part)
		}
	}
}

func TestAddressInUseSaysWhatToDo(t *testing.T) {
	b := serve(t)
	defer b.stop()
	_, err := Listen(t.Context(), strings.TrimPrefix(b.url, "http://"), Parts{})
	if err == nil || !strings.Contains(err.Error(), "address already in use; set http.listen") {
		t.Errorf("error %v", err)
	}
}

func TestAdviceIsTheStationsOrDefersToTheMaker(t *testing.T) {
	words, err := loadTexts()
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{texts: words}
	if steps, cautions := s.advise("dry"); !strings.Contains(steps[0], "instructions") || !strings.Contains(cautions[0], "Lock-out") {
		t.Errorf("without texts: %q, %q", steps, cautions)
	}
	b := serve(t, func(p *Parts) {
		p.Advice = func(condition string) (steps, cautions []string) {
			return []string{hostile, "then " + condition}, []string{"mind"}
		}
	})
	defer b.stop()
	_, _, body := b.get(t, "/alarms")
	inOrder(t, body, "Caution:</strong> mind", "<ol><li>&lt;script&gt;", "<li>then burning</li>")
}
