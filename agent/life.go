package agent

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"
)

// StopWithin bounds a graceful stop of everything together; what hangs longer
// costs stopGrace for each part that follows it. Together under 5 s.
const (
	StopWithin = 4 * time.Second
	stopGrace  = 100 * time.Millisecond
)

// Service is one running part of the agent.
type Service struct {
	Name string
	// Run works until ctx ends and then returns nil, or returns what makes the
	// agent's further run pointless.
	Run func(ctx context.Context) error
}

type running struct {
	name   string
	cancel context.CancelFunc
	done   chan error
}

// RunAll starts the services in order and runs them until ctx ends or one of
// them fails, then stops them in reverse order, all within StopWithin. It
// returns every error, joined.
func RunAll(ctx context.Context, log *slog.Logger, services ...Service) error {
	failed := make(chan string, len(services))
	started := make([]running, 0, len(services))
	for _, s := range services {
		started = append(started, launch(ctx, s, failed))
	}
	select {
	case <-ctx.Done():
		log.Info("stopping")
	case name := <-failed:
		log.Error("stopping: a part of the agent ended by itself", "part", name)
	}
	deadline := time.NewTimer(StopWithin)
	defer deadline.Stop()
	var errs []error
	for i := len(started) - 1; i >= 0; i-- {
		errs = append(errs, started[i].stop(deadline))
	}
	return errors.Join(errs...)
}

// launch gives the service a context of its own, so that the end of the
// parent's stops nothing out of order.
func launch(ctx context.Context, s Service, failed chan<- string) running {
	own, cancel := context.WithCancel(context.WithoutCancel(ctx))
	r := running{name: s.Name, cancel: cancel, done: make(chan error, 1)}
	go func() {
		err := s.Run(own)
		if own.Err() == nil {
			if err == nil {
				err = errors.New("ended by itself")
			}
			failed <- s.Name
		}
		r.done <- err
	}()
	return r
}

func (r running) stop(deadline *time.Timer) error {
	r.cancel()
	select {
	case err := <-r.done:
		if err != nil {
			return fmt.Errorf("%s: %w", r.name, err)
		}
		return nil
	case <-deadline.C:
		deadline.Reset(stopGrace)
		return fmt.Errorf("%s: did not stop within %s", r.name, StopWithin)
	}
}
