package expiry

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"log/slog"
	"maps"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// certificate makes one that ends then.
func certificate(t *testing.T, ends time.Time) []byte {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: ends.Add(-time.Hour), NotAfter: ends}
	der, err := x509.CreateCertificate(rand.Reader, template, template, public, private)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
}

func write(t *testing.T, path string, text []byte) {
	t.Helper()
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}

var (
	early = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	late  = time.Date(2031, 5, 1, 12, 0, 0, 0, time.UTC)
)

func TestFirstToEndCounts(t *testing.T) {
	key := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: []byte("x")})
	got, err := Of(slices.Concat(key, certificate(t, late), certificate(t, early), certificate(t, late)))
	if err != nil || !got.Equal(early) {
		t.Errorf("ends %s, %v; want %s", got, err, early)
	}
	for _, text := range [][]byte{nil, key, []byte("no PEM at all"), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: []byte("x")})} {
		if got, err := Of(text); err == nil {
			t.Errorf("%q ends %s", text, got)
		}
	}
}

func TestEndsFollowTheFiles(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "station.pem")
	w := New(slog.New(slog.DiscardHandler))
	w.Set([]File{{"mqtt.tls.cert", path}, {"http.tls.cert", ""}, {"mqtt.tls.ca", filepath.Join(dir, "none")}})
	if got := w.Ends(); len(got) != 0 {
		t.Errorf("without files: %v", got)
	}
	for i, ends := range []time.Time{early, late, early} {
		write(t, path, certificate(t, ends))
		at := early.Add(time.Duration(i) * time.Hour)
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if got := w.Ends(); len(got) != 1 || !got["mqtt.tls.cert"].Equal(ends) {
				t.Errorf("%v, want mqtt.tls.cert: %s", got, ends)
			}
		}
	}
	write(t, path, []byte("half a fi"))
	if got := w.Ends(); len(got) != 0 {
		t.Errorf("of a damaged file: %v", slices.Collect(maps.Keys(got)))
	}
}

// lines is a log that may be read while it is written.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func TestWarnsEachDayFromThirtyDaysBefore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "station.pem")
	synctest.Test(t, func(t *testing.T) {
		write(t, path, certificate(t, time.Now().Add(32*24*time.Hour+time.Hour)))
		var log lines
		w := New(slog.New(slog.NewTextHandler(&log, nil)))
		w.Set([]File{{"mqtt.tls.cert", path}})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- w.Run(ctx) }()
		after := func(days int) (warnings, errors int) {
			time.Sleep(time.Duration(days) * 24 * time.Hour)
			synctest.Wait()
			return strings.Count(log.String(), "level=WARN"), strings.Count(log.String(), "level=ERROR")
		}
		if n, m := after(2); n+m != 0 {
			t.Errorf("warned 30 days and an hour before the end:\n%s", &log)
		}
		if n, m := after(3); n != 3 || m != 0 {
			t.Errorf("%d warnings, %d errors in three days, want 3 and 0:\n%s", n, m, &log)
		}
		if n, m := after(28); n != 30 || m != 1 {
			t.Errorf("%d warnings, %d errors when it has just ended, want 30 and 1", n, m)
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
