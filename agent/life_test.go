package agent

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestRunAllStopsInReverseAndJoinsErrors(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var stopped []string
		service := func(name string, err error) Service {
			return Service{Name: name, Run: func(ctx context.Context) error {
				<-ctx.Done()
				stopped = append(stopped, name)
				return err
			}}
		}
		ctx, cancel := context.WithCancel(t.Context())
		go func() { time.Sleep(time.Second); cancel() }()
		err := RunAll(ctx, slog.New(slog.DiscardHandler),
			service("first", errors.New("one")), service("second", nil), service("third", errors.New("three")))
		if !slices.Equal(stopped, []string{"third", "second", "first"}) {
			t.Errorf("stopped %v", stopped)
		}
		if err == nil || !strings.Contains(err.Error(), "first: one") || !strings.Contains(err.Error(), "third: three") {
			t.Errorf("error %v, want both", err)
		}
	})
}

func TestRunAllStopsEverythingWhenOneFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		other := false
		err := RunAll(t.Context(), slog.New(slog.DiscardHandler),
			Service{"other", func(ctx context.Context) error { <-ctx.Done(); other = true; return nil }},
			Service{"broken", func(context.Context) error { return errors.New("boom") }})
		if err == nil || err.Error() != "broken: boom" || !other {
			t.Errorf("error %v, other stopped %v", err, other)
		}
	})
}

func TestRunAllStopsWithinFiveSecondsThoughPartsHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		hang := func(context.Context) error { <-free; return nil }
		stopped := false
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		began := time.Now()
		err := RunAll(ctx, slog.New(slog.DiscardHandler),
			Service{"good", func(ctx context.Context) error { <-ctx.Done(); stopped = true; return nil }},
			Service{"hang1", hang}, Service{"hang2", hang})
		if took := time.Since(began); took >= 5*time.Second {
			t.Errorf("stopped within %s, want under 5 s", took)
		}
		if err == nil || !strings.Contains(err.Error(), "hang1: did not stop") || !strings.Contains(err.Error(), "hang2: did not stop") {
			t.Errorf("error %v", err)
		}
		if !stopped {
			t.Error("the last service was not stopped")
		}
		close(free)
		synctest.Wait()
	})
}
