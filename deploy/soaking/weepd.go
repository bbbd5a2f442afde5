package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"weepd/deploy/rig"
)

// weepd is the agent under test with its folder: configuration, store, users.
type weepd struct {
	binary  string
	dir     string
	config  string
	port    int
	token   string
	process *rig.Process
	web     *http.Client
	starts  int
}

// build makes the binary.
func build(dir string) (string, error) {
	binary := filepath.Join(dir, "weepd")
	return binary, rig.Build("weepd/cmd/weepd", binary)
}

// newWeepd makes the folder of a station with a token for commands. rest is
// the configuration but for station, http and store.
func newWeepd(binary, dir, station, rest string) (*weepd, error) {
	port, err := rig.FreePort()
	if err != nil {
		return nil, err
	}
	w := &weepd{binary: binary, dir: dir, config: filepath.Join(dir, "station.yaml"), port: port, web: &http.Client{Timeout: 10 * time.Second}}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	users := filepath.Join(dir, "users")
	token, err := exec.CommandContext(context.Background(), binary, "user", "token", "soak", "--file", users).Output()
	if err != nil {
		return nil, fmt.Errorf("weepd user token: %w", err)
	}
	w.token = strings.TrimSpace(string(token))
	return w, w.configure(station, rest)
}

func (w *weepd) configure(station, rest string) error {
	head := fmt.Sprintf("station: %s\nhttp: {listen: \"127.0.0.1:%d\", users: users}\nstore: {path: store}\n", station, w.port)
	return os.WriteFile(w.config, []byte(head+rest), 0o600)
}

func (w *weepd) log() string { return filepath.Join(w.dir, "weepd.log") }

// start runs the agent and waits until its loop turns.
func (w *weepd) start() (err error) {
	if err := w.launch(); err != nil {
		return err
	}
	err = rig.Until("weepd runs", patience, func() bool { return !w.process.Running() || w.healthy() })
	if err == nil && !w.process.Running() {
		err = errors.New("weepd ended by itself")
	}
	if err != nil {
		return fmt.Errorf("%w; its log ends:\n%s", err, rig.Tail(w.log(), 15))
	}
	return nil
}

func (w *weepd) launch() (err error) {
	w.starts++
	w.process, err = rig.Start(w.log(), w.binary, "run", "--config", w.config)
	return err
}

func (w *weepd) healthy() bool {
	_, err := w.get("/healthz")
	return err == nil
}

func (w *weepd) stop() error {
	if err := w.process.End(); err != nil {
		return err
	}
	if w.process.Err() != nil {
		return fmt.Errorf("weepd after SIGTERM: %w; its log ends:\n%s", w.process.Err(), rig.Tail(w.log(), 15))
	}
	return nil
}

func (w *weepd) get(path string) ([]byte, error) {
	return w.ask(http.MethodGet, path, nil)
}

func (w *weepd) ask(method, path string, body []byte) ([]byte, error) {
	request, err := http.NewRequestWithContext(context.Background(), method, fmt.Sprintf("http://127.0.0.1:%d%s", w.port, path), bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("Authorization", "Bearer "+w.token)
	answer, err := w.web.Do(request)
	if err != nil {
		return nil, err
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode == http.StatusTooManyRequests {
		time.Sleep(time.Second)
		return w.ask(method, path, body)
	}
	if err == nil && method == http.MethodGet && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s: %.200s", path, answer.Status, text)
	}
	return text, err
}

// command reports whether a command was carried out and the reply came.
func (w *weepd) command(c map[string]string) bool {
	body, err := json.Marshal(c)
	if err != nil {
		return false
	}
	text, err := w.ask(http.MethodPost, "/api/v1/command", body)
	if err != nil {
		return false
	}
	var reply struct{ OK bool }
	return json.Unmarshal(text, &reply) == nil && reply.OK
}

// events reads the journal after a seq to its end.
func (w *weepd) events(after uint64) (list []event, err error) {
	for {
		text, err := w.get("/api/v1/events?after=" + strconv.FormatUint(after, 10))
		if err != nil {
			return nil, err
		}
		var page []json.RawMessage
		if err := json.Unmarshal(text, &page); err != nil {
			return nil, fmt.Errorf("events: %w: %.200s", err, text)
		}
		for _, data := range page {
			e, err := parseEvent(data)
			if err != nil {
				return nil, err
			}
			list = append(list, e)
			after = e.seq
		}
		if len(page) == 0 {
			return list, nil
		}
	}
}

// pending is the number of undelivered events, as /metrics says.
func (w *weepd) pending() (int, error) {
	text, err := w.get("/metrics")
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(string(text)) {
		if value, found := strings.CutPrefix(line, "weepd_outbox_pending "); found {
			n, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
			return int(n), err
		}
	}
	return 0, errors.New("/metrics has no weepd_outbox_pending")
}

// panicked gives the place of a panic in the log.
func (w *weepd) panicked() error {
	for line := range strings.Lines(readAll(w.log())) {
		if strings.HasPrefix(line, "panic:") || strings.HasPrefix(line, "fatal error:") || strings.HasPrefix(line, "WARNING: DATA RACE") {
			return fmt.Errorf("weepd: %s, see %s", strings.TrimSpace(line), w.log())
		}
	}
	return nil
}

func readAll(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	return string(text)
}
