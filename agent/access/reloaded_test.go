package access

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func newRecorder() *httptest.ResponseRecorder { return httptest.NewRecorder() }

// passed makes as if the time for another look had come.
func passed[T any](r *reloaded[T]) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.looked = r.looked.Add(-2 * lookEvery)
}

func TestUsersAreReadAgain(t *testing.T) {
	path, command, _ := usersFile(t)
	var log strings.Builder
	u, err := OpenUsers(path, slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	in := func() bool { passed(u.file); _, found := u.book().byToken(command); return found }
	if !in() || log.Len() > 0 {
		t.Fatalf("not in, or told without a change: %s", &log)
	}
	good := read(t, path)
	for _, fault := range []func() error{
		func() error { return os.WriteFile(path, []byte("rubbish"), 0o600) },
		func() error { return os.Remove(path) },
		func() error { put(t, path, good); return os.Chmod(path, 0o644) },
	} {
		if err := fault(); err != nil {
			t.Fatal(err)
		}
		log.Reset()
		if first, again := in(), in(); !first || !again || strings.Count(log.String(), "the old stays in force") != 1 {
			t.Errorf("a file at fault: told %s", &log)
		}
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Remove(path, "control-room"); err != nil {
		t.Fatal(err)
	}
	if in() || !strings.Contains(log.String(), "is in force") {
		t.Errorf("removed, but still in; told %s", &log)
	}
	if _, err := OpenUsers(path+"x", quiet); err == nil {
		t.Error("a file that is not there was opened")
	}
}

// issue writes a self-signed certificate.
func issue(t *testing.T, dir string, number int64) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(number), Subject: pkix.Name{CommonName: "gateway"}, DNSNames: []string{"gateway"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, "weepd.pem"), filepath.Join(dir, "weepd.key")
	put(t, cert, string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	put(t, key, string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})))
	return cert, key
}

// A real server behind the guard: TLS 1.2 at the least, HTTP/2, a certificate
// that is changed under way, and a person who logs in.
func TestServerWithTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key := issue(t, dir, 1)
	config, err := TLS(cert, key, quiet)
	if err != nil {
		t.Fatal(err)
	}
	u, _, _ := users(t)
	g, err := New(Policy{Users: u, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{ReadHeaderTimeout: time.Second, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, 0), Handler: g.Protect(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, _ := User(r.Context())
		_, _ = fmt.Fprintf(w, "%s over %s", who.Name, r.Proto)
	}))}
	done := make(chan error, 1)
	go func() { done <- server.Serve(tls.NewListener(l, config)) }()
	defer func() {
		_ = server.Close()
		if err := <-done; !errors.Is(err, http.ErrServerClosed) {
			t.Error(err)
		}
	}()

	ask := func(most uint16) (string, int64, error) {
		transport := &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true, MaxVersion: most}}
		defer transport.CloseIdleConnections()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "https://"+l.Addr().String()+"/x", strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		answer, err := (&http.Client{Transport: transport}).Do(basic(r, "operator", operatorSecret))
		if err != nil {
			return "", 0, err
		}
		defer func() { _ = answer.Body.Close() }()
		text, err := io.ReadAll(answer.Body)
		return string(text), answer.TLS.PeerCertificates[0].SerialNumber.Int64(), err
	}
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		if text, serial, err := ask(version); err != nil || serial != 1 || text != "operator over HTTP/2.0" {
			t.Errorf("version %x: %q, certificate %d, %v", version, text, serial, err)
		}
	}
	if _, _, err := ask(tls.VersionTLS11); err == nil {
		t.Error("TLS 1.1 was taken")
	}
	issue(t, dir, 2)
	until := time.Now().Add(20 * time.Second)
	for {
		_, serial, err := ask(tls.VersionTLS13)
		if err != nil {
			t.Fatal(err)
		}
		if serial == 2 {
			return
		}
		if time.Now().After(until) {
			t.Fatal("the new certificate is not taken")
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func TestCertificateFaults(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	cert, key := issue(t, dir, 1)
	_, foreign := issue(t, other, 2)
	put(t, filepath.Join(dir, "open.key"), read(t, key))
	if err := os.Chmod(filepath.Join(dir, "open.key"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ cert, key, want string }{
		{cert + "x", key, "certificate " + cert + "x: no such file"},
		{cert, key + "x", "key " + key + "x: no such file"},
		{cert, foreign, "private key does not match public key"},
		{key, key, "failed to find"},
		{cert, filepath.Join(dir, "open.key"), "lets everybody at it; run chmod 640"},
	} {
		if _, err := TLS(c.cert, c.key, quiet); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}
