package main

import (
	"path/filepath"
	"sync"

	"weepd/agent/config"
	"weepd/agent/metrics"
	"weepd/agent/remotewrite"
)

// pushing is the writer of metrics at present, for the metrics about it.
type pushing struct {
	mu  sync.Mutex
	now *remotewrite.Writer // nil: nothing is pushed
}

func (p *pushing) measured() metrics.Writer {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now == nil {
		return nil
	}
	return p.now
}

// maker gives what makes the writer's work of a station; what waits is kept
// beside the store.
func (p *pushing) maker(measured metrics.Parts) (func(station) work, error) {
	gathered, err := metrics.New(measured)
	if err != nil {
		return nil, err
	}
	return func(s station) work {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.now = nil; s.pushTo == nil || s.keeper == nil {
			return idle
		}
		cfg := *s.pushTo
		cfg.Log, cfg.Dir = s.log, filepath.Join(s.keeper.Folder(), "remote-write")
		p.now = remotewrite.New(cfg, gathered)
		return p.now.Run
	}, nil
}

// pushConfig gives nil where nothing is pushed.
func pushConfig(station string, r *config.RemoteWrite) *remotewrite.Config {
	if r == nil {
		return nil
	}
	return &remotewrite.Config{
		URL: r.URL, Every: r.Every, MaxAge: r.MaxAge, MaxBytes: r.MaxBytes,
		Station: station, Version: version(),
		Username: r.Username, PasswordFile: r.PasswordFile, TLS: remotewrite.TLS(r.TLS),
	}
}
