package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"time"

	"weepd/agent"
)

// door is the way into a running agent over HTTP.
type door struct {
	url          string
	ca           string // file; empty: the system's
	user, secret string
	token        string
	tokenFile    string
}

const (
	doorTries   = 3
	doorPause   = time.Second
	doorTimeout = 10 * time.Second
)

func (d *door) readToken() error {
	text, err := os.ReadFile(d.tokenFile)
	if err != nil {
		return fmt.Errorf("token: %w", err)
	}
	if d.token = strings.TrimSpace(string(text)); d.token == "" || strings.ContainsAny(d.token, " \n") {
		return fmt.Errorf("token: %s holds no single token; put the one that `weepd user token` printed into it", d.tokenFile)
	}
	return nil
}

// command has the agent carry out a command. It is sent again, with the same id,
// where nobody knows whether it arrived: it is done once.
func (d *door) command(ctx context.Context, c agent.Command) error {
	id := make([]byte, 8)
	_, _ = rand.Read(id) // never fails, see crypto/rand
	c.ID = "record-" + hex.EncodeToString(id)
	body, err := json.Marshal(c)
	if err != nil {
		return err
	}
	client, err := d.client()
	if err != nil {
		return err
	}
	for try := 1; ; try++ {
		again, err := d.send(ctx, client, body)
		if err == nil || !again || try == doorTries {
			return err
		}
		select {
		case <-time.After(doorPause):
		case <-ctx.Done():
			return err
		}
	}
}

func (d *door) client() (*http.Client, error) {
	transport := &http.Transport{TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12}}
	if d.ca != "" {
		pem, err := os.ReadFile(d.ca)
		if err != nil {
			return nil, fmt.Errorf("certificates: %w", err)
		}
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("certificates: %s holds none; want PEM", d.ca)
		}
		transport.TLSClientConfig.RootCAs = pool
	}
	return &http.Client{Transport: transport, Timeout: doorTimeout}, nil
}

// send asks once; again says that asking again may help.
func (d *door) send(ctx context.Context, client *http.Client, body []byte) (again bool, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, strings.TrimSuffix(d.url, "/")+"/api/v1/command", bytes.NewReader(body))
	if err != nil {
		return false, usageError{fmt.Errorf("--url %q: %w", d.url, err)}
	}
	r.Header.Set("Content-Type", "application/json")
	if d.token != "" {
		r.Header.Set("Authorization", "Bearer "+d.token)
	} else {
		r.SetBasicAuth(d.user, d.secret)
	}
	answer, err := client.Do(r)
	if err != nil {
		return true, fmt.Errorf("no answer from the agent at %s: %w; is it running, and is the address right?", d.url, err)
	}
	defer func() { _ = answer.Body.Close() }() // it was only read
	text, err := io.ReadAll(io.LimitReader(answer.Body, 64<<10))
	if err != nil {
		return true, fmt.Errorf("the agent's answer broke off: %w", err)
	}
	var reply agent.Reply
	if json.Unmarshal(text, &reply) != nil {
		return false, fmt.Errorf("%s answered %s and not as weepd does; is the address right?", d.url, answer.Status)
	}
	if reply.OK {
		return false, nil
	}
	busy := answer.StatusCode == http.StatusServiceUnavailable || answer.StatusCode == http.StatusTooManyRequests
	return busy, errors.New("not recorded: " + reply.Error)
}
