package remotewrite

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"time"

	"github.com/klauspost/compress/snappy"
)

// sendWithin bounds one message.
const sendWithin = 30 * time.Second

// errRefused is an answer to what was sent, not to who sent it or when: sending
// it again as it is will hardly help.
var errRefused = errors.New("refused")

type sender struct {
	cfg    Config
	client *http.Client
}

func newSender(cfg Config) (*sender, error) {
	s := &sender{cfg: cfg}
	transport := &http.Transport{Proxy: http.ProxyFromEnvironment, MaxIdleConns: 1, IdleConnTimeout: 10 * time.Minute, TLSHandshakeTimeout: 15 * time.Second}
	if strings.HasPrefix(cfg.URL, "https://") {
		config, err := cfg.TLS.config()
		if err != nil {
			return nil, err
		}
		transport.TLSClientConfig = config
	}
	s.client = &http.Client{Transport: transport, Timeout: sendWithin}
	return s, nil
}

func (t TLS) config() (*tls.Config, error) {
	out := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: t.ServerName}
	if t.CA != "" {
		text, err := os.ReadFile(t.CA)
		if err != nil {
			return nil, fmt.Errorf("remote_write.tls.ca: %w", err)
		}
		out.RootCAs = x509.NewCertPool()
		if !out.RootCAs.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("remote_write.tls.ca: %s holds no certificate in PEM form", t.CA)
		}
	}
	if t.Cert != "" || t.Key != "" {
		pair, err := tls.LoadX509KeyPair(t.Cert, t.Key)
		if err != nil {
			return nil, fmt.Errorf("remote_write.tls.cert, remote_write.tls.key: %w", err)
		}
		out.Certificates = []tls.Certificate{pair}
	}
	return out, nil
}

// send puts instants into one message.
func (s *sender) send(ctx context.Context, list ...instant) error {
	var body []byte
	for _, i := range list {
		body = append(body, i.body...)
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, s.cfg.URL, bytes.NewReader(snappy.Encode(nil, body)))
	if err != nil {
		return err
	}
	request.Header.Set("Content-Type", "application/x-protobuf")
	request.Header.Set("Content-Encoding", "snappy")
	request.Header.Set("X-Prometheus-Remote-Write-Version", "0.1.0")
	request.Header.Set("User-Agent", "weepd/"+s.cfg.Version)
	if s.cfg.Username != "" {
		password, err := os.ReadFile(s.cfg.PasswordFile)
		if err != nil {
			return fmt.Errorf("remote_write.password_file: %w", err)
		}
		request.SetBasicAuth(s.cfg.Username, strings.TrimRight(string(password), "\r\n"))
	}
	answer, err := s.client.Do(request)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }()
	text, _ := io.ReadAll(io.LimitReader(answer.Body, 400)) // why, for the log
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 1<<20))
	return judge(answer.StatusCode, strings.TrimSpace(string(text)))
}

// judge tells answers to the samples from others. Prometheus 2.42 says 500 to
// samples that are too old (measured) and 400 to others that it does not take.
func judge(status int, text string) error {
	switch {
	case status/100 == 2:
		return nil
	case status == http.StatusBadRequest, status == http.StatusRequestEntityTooLarge,
		status == http.StatusUnprocessableEntity, status == http.StatusInternalServerError:
		return fmt.Errorf("%w: status %d: %s", errRefused, status, text)
	case status == http.StatusUnauthorized, status == http.StatusForbidden:
		return fmt.Errorf("status %d; check remote_write.username, remote_write.password_file and remote_write.tls: %s", status, text)
	case status == http.StatusNotFound:
		return fmt.Errorf("status 404; check the path of remote_write.url, and that the receiver takes remote write (Prometheus: --web.enable-remote-write-receiver): %s", text)
	}
	return fmt.Errorf("status %d: %s", status, text)
}
