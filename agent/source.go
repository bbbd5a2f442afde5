package agent

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Back-off between tries to start a source.
const (
	retryFirst = time.Second
	retryMost  = time.Minute
	// steadyRun is how long a source must have run for its next failure to
	// count as the first again.
	steadyRun = time.Minute
	// openWithin is how long a source may take to open before it counts as
	// hanging: a kernel that waits for a device does so for a second or two.
	openWithin = 5 * time.Second
)

// Feed is a source that can be opened again: a Source runs only once.
type Feed struct {
	Name   string // for logs, e.g. `gpio GPIO17`
	Points []reading.Point
	Open   func() (sensors.Source, error)
	Once   bool // it ends for good, also by an error
	// Key tells feeds apart by all that is configured of them; empty: like no
	// other.
	Key string
}

// FixedFeed wraps a source that runs once and for all, such as a recording.
func FixedFeed(s sensors.Source) Feed {
	return Feed{Name: s.String(), Points: s.Points(), Once: true, Open: func() (sensors.Source, error) { return s, nil }}
}

// supervisor keeps one feed running.
type supervisor struct {
	feed   Feed
	clock  *Clock
	queue  *queue
	calm   *patience
	log    *slog.Logger
	failed bool   // the log has been told
	tried  func() // to be called when the source has been opened, or could not be
}

// run returns when ctx ends.
func (s *supervisor) run(ctx context.Context) {
	// One goroutine opens, however often it is asked, and may hang in it.
	opening := sensors.StartBounded(s.feed.Open)
	defer opening.Stop()
	wait := retryFirst
	for ctx.Err() == nil {
		began := s.clock.Steady()
		err := s.once(ctx, opening)
		if ctx.Err() != nil {
			return
		}
		if err == nil {
			s.log.Info("source has ended; its points count as not answering", "source", s.feed.Name)
			s.silentFor(ctx, never)
			return
		}
		if s.feed.Once {
			s.log.Error("source has ended by an error; its points count as not answering", "source", s.feed.Name, "error", err)
			s.silentFor(ctx, never)
			return
		}
		if s.clock.Steady()-began > steadyRun {
			wait = retryFirst
			s.failed = false
		}
		if !s.failed {
			s.failed = true
			s.log.Error("source failed; trying again until it answers", "source", s.feed.Name, "error", err)
		}
		s.silentFor(ctx, jitter(wait))
		wait = min(2*wait, retryMost)
	}
}

// once opens the source and runs it to its end.
func (s *supervisor) once(ctx context.Context, opening *sensors.Bounded[sensors.Source]) error {
	source, err := opening.Ask(ctx, openWithin)
	s.tried()
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = fmt.Errorf("open %s: no answer within %s: the device hangs", s.feed.Name, openWithin)
	}
	if err != nil {
		return err
	}
	if patient, can := source.(sensors.Patient); can {
		one := s.calm.join(s.feed.Points)
		defer s.calm.leave(one)
		patient.Heed(one)
	}
	return source.Run(ctx, func(r reading.Reading) {
		if s.failed && r.Quality.OK() {
			s.failed = false
			s.log.Info("source answers again", "source", s.feed.Name)
		}
		s.queue.push(ctx, r)
	})
}

const never = time.Duration(1<<63 - 1)

// silentFor waits and says meanwhile, as often as a live source would speak,
// that the feed's points do not answer.
func (s *supervisor) silentFor(ctx context.Context, wait time.Duration) {
	over := time.NewTimer(wait)
	defer over.Stop()
	again := time.NewTicker(sensors.WatchEvery)
	defer again.Stop()
	for {
		now := s.clock.Steady()
		for _, p := range s.feed.Points {
			s.queue.push(ctx, reading.Reading{At: now, Point: p, Quality: reading.NoAnswer})
		}
		select {
		case <-ctx.Done():
			return
		case <-over.C:
			return
		case <-again.C:
		}
	}
}

// jitter spreads a wait over its upper half, so that a site's agents do not
// try in step.
func jitter(wait time.Duration) time.Duration {
	half := wait / 2
	return half + rand.N(half+1)
}
