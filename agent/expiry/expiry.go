// Package expiry knows when the certificates in files end, and warns before.
package expiry

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

const (
	// warnBefore leaves time for a visit to the station; a choice of ours.
	warnBefore = 30 * 24 * time.Hour
	lookEvery  = 24 * time.Hour
)

// File is a file of certificates in PEM form. Name is its key in the
// configuration, e.g. mqtt.tls.cert.
type File struct{ Name, Path string }

// Watch looks at files. Its methods may be called from anywhere.
type Watch struct {
	log  *slog.Logger
	mu   sync.Mutex
	seen []seen
}

type seen struct {
	File
	changed time.Time
	size    int64
	ends    time.Time // zero: not known
}

// New makes a watch of no file.
func New(log *slog.Logger) *Watch { return &Watch{log: log} }

// Set says which files are watched from now on; those without a path are left out.
func (w *Watch) Set(files []File) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen = nil
	for _, f := range files {
		if f.Path != "" {
			w.seen = append(w.seen, seen{File: f})
		}
	}
}

// Ends gives for each file, by its name, when the first of its certificates
// ends. A file that cannot be read is absent. Files are read when they change.
func (w *Watch) Ends() map[string]time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	ends := make(map[string]time.Time, len(w.seen))
	for i := range w.seen {
		s := &w.seen[i]
		if err := s.look(); err == nil {
			ends[s.Name] = s.ends
		}
	}
	return ends
}

// look reads the file if it is not what it was.
func (s *seen) look() error {
	info, err := os.Stat(s.Path)
	if err != nil {
		s.ends = time.Time{}
		return err
	}
	if !s.ends.IsZero() && info.ModTime().Equal(s.changed) && info.Size() == s.size {
		return nil
	}
	text, err := os.ReadFile(s.Path)
	if err != nil {
		return err
	}
	ends, err := Of(text)
	if err != nil {
		s.ends = time.Time{}
		return fmt.Errorf("%s: %w", s.Path, err)
	}
	s.changed, s.size, s.ends = info.ModTime(), info.Size(), ends
	return nil
}

// Of gives when the first of the certificates in text ends.
func Of(text []byte) (ends time.Time, err error) {
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "CERTIFICATE" {
			continue
		}
		certificate, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return time.Time{}, err
		}
		if ends.IsZero() || certificate.NotAfter.Before(ends) {
			ends = certificate.NotAfter
		}
	}
	if ends.IsZero() {
		return ends, errors.New("holds no certificate in PEM form")
	}
	return ends, nil
}

// Run warns in the log, at once and then each day, of what ends soon or has
// ended, until ctx ends.
func (w *Watch) Run(ctx context.Context) error {
	again := time.NewTicker(lookEvery)
	defer again.Stop()
	for {
		w.warn(time.Now())
		select {
		case <-ctx.Done():
			return nil
		case <-again.C:
		}
	}
}

func (w *Watch) warn(now time.Time) {
	for name, ends := range w.Ends() {
		switch left := ends.Sub(now); {
		case left <= 0:
			w.log.Error("certificate has ended: the other side refuses it; put a new one in its place", "certificate", name, "ended", ends)
		case left < warnBefore:
			w.log.Warn("certificate ends soon; put a new one in its place", "certificate", name, "ends", ends)
		}
	}
}
