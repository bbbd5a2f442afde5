package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// clerk notes the commands that it gets and refuses those by nobody.
type clerk struct {
	mu   sync.Mutex
	done []agent.Command
}

func (c *clerk) Do(_ context.Context, command agent.Command) agent.Reply {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.done = append(c.done, command)
	if command.By == "" {
		return agent.Refuse("no-name", "by is missing")
	}
	return agent.Reply{OK: true}
}

func (c *clerk) ids() (ids []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, d := range c.done {
		ids = append(ids, d.ID)
	}
	return ids
}

func TestCommandsAreCarriedOutInOrderAndReplied(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	doer := &clerk{}
	p := New(testConfig(address), newFakeBoard(), agent.NewMemoryJournal(10, true), doer, slog.New(slog.DiscardHandler))
	stop := run(t, p)
	eventually(t, "connected", func() bool { return len(box.on("weepd/quarry/gland/p1")) > 0 })
	send := func(payload string, retain bool) {
		if err := server.Publish("weepd/quarry/command", []byte(payload), retain, 1); err != nil {
			t.Fatal(err)
		}
	}
	var want []string
	for i := range 20 {
		id := fmt.Sprintf("c%d", i)
		want = append(want, id)
		send(`{"id":"`+id+`","action":"acknowledge","gland":"p1","condition":"dry","by":"operator"}`, false)
		eventually(t, "reply to "+id, func() bool { return slices.Contains(box.on("weepd/quarry/reply/"+id), `{"ok":true}`) })
	}
	for payload, reply := range map[string]string{
		`{"id":"nobody","action":"acknowledge"}`: `reply/nobody {"ok":false,"error":"by is missing","reason":"no-name"}`,
		`{"action":"acknowledge"}`:               `reply/- {"ok":false,"error":"id is missing`,
		`{"id":"a/b"}`:                           `reply/- {"ok":false,"error":"id is not allowed`,
		`{"id":"odd","colour":"red"}`:            `reply/odd {"ok":false,"error":"the command is not understood (unknown field`,
		`not json`:                               `reply/- {"ok":false,"error":"the command is not understood`,
		strings.Repeat("x", 5000):                `reply/- {"ok":false,"error":"the command has 5000 bytes`,
	} {
		send(payload, false)
		topic, start, _ := strings.Cut(reply, " ")
		eventually(t, reply, func() bool {
			return slices.ContainsFunc(box.on("weepd/quarry/"+topic), func(got string) bool { return strings.HasPrefix(got, start) })
		})
	}
	stop()
	if got := doer.ids(); !slices.Equal(got, append(want, "nobody")) {
		t.Errorf("carried out %v", got)
	}
	send(`{"id":"kept","action":"acknowledge","by":"x"}`, true)
	stop = run(t, p)
	eventually(t, "retained refused", func() bool {
		got := box.on("weepd/quarry/reply/kept")
		return len(got) == 1 && strings.Contains(got[0], "retained")
	})
	stop()
}

func run(t *testing.T, p *Publisher) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

const testKey = "a key of 32 bytes, for the tests"

func TestSignedCommands(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	write := func(text string) {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(testKey + "\n")
	now := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	p := New(Config{Station: "quarry", CommandKeyFile: path, CommandWindow: 5 * time.Minute}, nil, nil, &clerk{}, slog.New(slog.DiscardHandler))
	good := agent.Command{ID: "c1", Action: "shelve", Gland: "p1", Condition: "dry", By: "operator", For: "8h", Note: "n", Time: now.Format(time.RFC3339)}
	good.Signature = Sign(good, "quarry", []byte(testKey))
	if r := p.unsigned(good, now); r != nil {
		t.Fatalf("a good command: %+v", r)
	}
	for name, change := range map[string]func(c *agent.Command){
		"no signature": func(c *agent.Command) { c.Signature = "" },
		"no hex":       func(c *agent.Command) { c.Signature = "zz" },
		"cut":          func(c *agent.Command) { c.Signature = c.Signature[:10] },
		"other key":    func(c *agent.Command) { c.Signature = Sign(*c, "quarry", []byte("another")) },
		"other place":  func(c *agent.Command) { c.Signature = Sign(*c, "pit", []byte(testKey)) },
		"id":           func(c *agent.Command) { c.ID = "c2" },
		"action":       func(c *agent.Command) { c.Action = "remove" },
		"gland":        func(c *agent.Command) { c.Gland = "p2" },
		"condition":    func(c *agent.Command) { c.Condition = "burning" },
		"by":           func(c *agent.Command) { c.By = "somebody" },
		"for":          func(c *agent.Command) { c.For = "9h" },
		"note":         func(c *agent.Command) { c.Note = "" },
		"kind":         func(c *agent.Command) { c.Kind = "x" },
		"value":        func(c *agent.Command) { c.Value = json.RawMessage("1") },
		"time":         func(c *agent.Command) { c.Time = now.Add(time.Second).Format(time.RFC3339) },
	} {
		c := good
		change(&c)
		if r := p.unsigned(c, now); r == nil || r.Reason != agent.ReasonSignature {
			t.Errorf("%s changed: %+v", name, r)
		}
	}
	for _, off := range []time.Duration{-6 * time.Minute, 6 * time.Minute} {
		if r := p.unsigned(good, now.Add(off)); r == nil || !strings.Contains(r.Error, "6m0s off the agent's clock") {
			t.Errorf("%s later: %+v", off, r)
		}
	}
	write("short")
	if r := p.unsigned(good, now); r == nil || !strings.Contains(r.Error, "cannot read its key") {
		t.Errorf("a short key: %+v", r)
	}
}

// The signature against openssl 3.0: `printf TEXT | openssl dgst -sha256 -hmac KEY`.
func TestSignatureIsTheStandards(t *testing.T) {
	c := agent.Command{ID: "c1", Time: "2026-03-01T06:00:00Z", Action: "acknowledge", Gland: "p1-de", Condition: "dry", By: "operator"}
	const text = "weepd-command-1\nquarry\nc1\n2026-03-01T06:00:00Z\nacknowledge\np1-de\ndry\noperator\n\n\n\n"
	if got := c.Canonical("quarry"); got != text {
		t.Errorf("canonical text %q", got)
	}
	const openssl = "3f9dcc60aa87d35d13084778dd01d19a8ffa3326e8243932c784b3776cd3aa6b"
	if got := Sign(c, "quarry", []byte(testKey)); got != openssl {
		t.Errorf("signature %s, openssl says %s", got, openssl)
	}
}

// deafOutbox cannot be read.
type deafOutbox struct{ *agent.MemoryJournal }

func (deafOutbox) Pending(context.Context, uint64, int) ([]agent.Event, error) {
	return nil, errors.New("disk I/O error")
}

func TestAlarmsGoOutWhileTheOutboxCannotBeRead(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	board, log := newFakeBoard(), &logBook{}
	_, stop := publish(t, testConfig(address), board, deafOutbox{agent.NewMemoryJournal(1, true)}, log)
	eventually(t, "connected", func() bool { return len(box.on("weepd/quarry/alarm/p1/dry")) == 1 })
	for i := range 3 {
		board.change(func(s *agent.Snapshot) {
			s.Alarms[rules.Dry].State, s.Alarms[rules.Dry].Seq = agent.StateActive, uint64(i+1)
		})
		eventually(t, "alarm", func() bool { return len(box.on("weepd/quarry/alarm/p1/dry")) == i+2 })
	}
	stop()
	if n := strings.Count(log.String(), "outbox cannot be read"); n != 1 {
		t.Errorf("%d log lines, want 1:\n%s", n, log)
	}
	// Online and offline once each, the second on its way to the subscriber: had
	// the connection not held there were more.
	eventually(t, "offline", func() bool { return len(box.on("weepd/quarry/status")) >= 2 })
	if n := len(box.on("weepd/quarry/status")); n != 2 {
		t.Errorf("status %d times: the connection did not hold", n)
	}
}

// endlessOutbox always has more.
type endlessOutbox struct {
	*agent.MemoryJournal
	mu   sync.Mutex
	next uint64
}

func (o *endlessOutbox) Pending(_ context.Context, after uint64, limit int) ([]agent.Event, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	var events []agent.Event
	for range limit {
		after++
		events = append(events, agent.Event{Seq: after})
	}
	o.next = after
	return events, nil
}

func (o *endlessOutbox) Delete(context.Context, uint64) error { return nil }

// A backlog without end holds neither the newest alarm nor a reply up.
func TestBacklogDoesNotStarveAlarmsAndReplies(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	board := newFakeBoard()
	p := New(testConfig(address), board, &endlessOutbox{MemoryJournal: agent.NewMemoryJournal(1, true)}, &clerk{}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	stop := run(t, p)
	eventually(t, "backlog flows", func() bool { return len(box.on("weepd/quarry/event")) > 200 })
	board.change(func(s *agent.Snapshot) { s.Alarms[rules.Dry].State, s.Alarms[rules.Dry].Seq = agent.StateActive, 1 })
	eventually(t, "alarm", func() bool { return len(box.on("weepd/quarry/alarm/p1/dry")) == 2 })
	if err := server.Publish("weepd/quarry/command", []byte(`{"id":"c1","action":"acknowledge","by":"x"}`), false, 1); err != nil {
		t.Fatal(err)
	}
	eventually(t, "reply", func() bool { return len(box.on("weepd/quarry/reply/c1")) == 1 })
	stop()
}
