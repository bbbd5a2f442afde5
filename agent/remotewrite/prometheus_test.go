//go:build integration

package remotewrite

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// startPrometheus runs a real one that takes remote write, and samples out of
// order within half an hour.
func startPrometheus(t *testing.T) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // a free port
	if err != nil {
		t.Fatal(err)
	}
	address = l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	config := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(config, []byte("storage: {tsdb: {out_of_order_time_window: 30m}}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "prometheus", "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+address, "--web.enable-remote-write-receiver", "--log.level=warn")
	cmd.Stdout, cmd.Stderr = t.Output(), t.Output()
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v; deploy/test installs what is missing", err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	for until := time.Now().Add(30 * time.Second); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		if ready(t.Context(), address) {
			return address
		}
	}
	t.Fatal("prometheus is not ready within 30 s")
	return ""
}

func ready(ctx context.Context, address string) bool {
	text, err := get(ctx, "http://"+address+"/-/ready")
	return err == nil && len(text) > 0
}

func get(ctx context.Context, address string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return nil, err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer func() { _ = answer.Body.Close() }()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("%s: %s", address, answer.Status)
	}
	var body json.RawMessage
	if err := json.NewDecoder(answer.Body).Decode(&body); err != nil {
		return []byte("not JSON"), nil
	}
	return body, nil
}

// stored gives the times of the samples that Prometheus has.
func stored(t *testing.T, address string) (times []int64) {
	t.Helper()
	text, err := get(t.Context(), "http://"+address+"/api/v1/query?query="+url.QueryEscape(`weepd_gland_running{station="quarry",job="weepd"}[2h]`))
	if err != nil {
		t.Fatal(err)
	}
	var answer struct {
		Data struct{ Result []struct{ Values [][2]any } }
	}
	if err := json.Unmarshal(text, &answer); err != nil {
		t.Fatal(err)
	}
	for _, r := range answer.Data.Result {
		for _, v := range r.Values {
			times = append(times, int64(v[0].(float64)*1000+.5))
		}
	}
	return times
}

// A station that was cut off backfills a real Prometheus: all that its window
// takes arrives, though samples that are too old lie in the same files and
// Prometheus answers a message with any of them with status 500.
func TestBackfillIntoPrometheus(t *testing.T) {
	address, dir := startPrometheus(t), t.TempDir()
	b := newBench(t, "http://127.0.0.1:1/api/v1/write", dir) // nobody there
	now := time.Now().UTC().Truncate(time.Second)
	b.at = now.Add(-100 * time.Minute)
	b.minutes(t, 2) // beyond max_age
	b.at = now.Add(-50 * time.Minute)
	b.minutes(t, 4) // beyond the receiver's window only
	b.at = now.Add(-20 * time.Minute)
	good := b.minutes(t, 15)
	if b.Pending() != 21 || len(files(t, dir)) != 4 {
		t.Fatalf("%d wait, %v", b.Pending(), files(t, dir))
	}
	b.cfg.URL, b.sender = "http://"+address+"/api/v1/write", nil
	b.at = now.Add(-time.Minute)
	fresh := b.minutes(t, 1)
	if got, want := stored(t, address), slices.Concat(good, fresh); !slices.Equal(got, want) {
		t.Errorf("Prometheus has %d samples %v,\nwant %d %v", len(got), got, len(want), want)
	}
	refused, old, full := b.Dropped()
	if refused != 4 || old != 2 || full != 0 || b.Pending() != 0 || len(files(t, dir)) != 0 {
		t.Errorf("dropped: %d refused, %d too old, %d without room; %d wait, %v", refused, old, full, b.Pending(), files(t, dir))
	}
}
