package main

import (
	"context"
	"io"
	"log/slog"
	"sync/atomic"

	"weepd/agent/config"
	"weepd/agent/systemd"
)

func newLog(w io.Writer, cfg config.Log) slog.Handler {
	opts := &slog.HandlerOptions{Level: cfg.Level}
	lines := func(w io.Writer) slog.Handler {
		if cfg.Format == "json" {
			return slog.NewJSONHandler(w, opts)
		}
		return slog.NewTextHandler(w, opts)
	}
	if systemd.Journals(w) {
		opts.ReplaceAttr = systemd.WithoutTime
		return systemd.NewHandler(w, lines)
	}
	return lines(w)
}

// switched is a log handler that can be replaced while loggers use it.
type switched struct {
	to   *atomic.Pointer[slog.Handler]
	with []func(slog.Handler) slog.Handler // attributes and groups, in order
}

func newSwitched(first slog.Handler) switched {
	s := switched{to: new(atomic.Pointer[slog.Handler])}
	s.to.Store(&first)
	return s
}

// replace puts another handler in the place of the one before.
func (s switched) replace(h slog.Handler) { s.to.Store(&h) }

func (s switched) now() slog.Handler {
	h := *s.to.Load()
	for _, with := range s.with {
		h = with(h)
	}
	return h
}

// Enabled implements slog.Handler.
func (s switched) Enabled(ctx context.Context, level slog.Level) bool {
	return (*s.to.Load()).Enabled(ctx, level)
}

// Handle implements slog.Handler.
func (s switched) Handle(ctx context.Context, r slog.Record) error { return s.now().Handle(ctx, r) }

// WithAttrs implements slog.Handler.
func (s switched) WithAttrs(attrs []slog.Attr) slog.Handler {
	return s.and(func(h slog.Handler) slog.Handler { return h.WithAttrs(attrs) })
}

// WithGroup implements slog.Handler.
func (s switched) WithGroup(name string) slog.Handler {
	return s.and(func(h slog.Handler) slog.Handler { return h.WithGroup(name) })
}

func (s switched) and(with func(slog.Handler) slog.Handler) switched {
	return switched{s.to, append(s.with[:len(s.with):len(s.with)], with)}
}
