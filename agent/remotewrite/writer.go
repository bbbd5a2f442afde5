package remotewrite

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

const (
	// tries of one instant that is refused while others are taken.
	tries     = 3
	triesRest = time.Second
	stopMost  = time.Second // for the last message
)

// Writer gathers and sends; Run runs it.
type Writer struct {
	cfg     Config
	gather  prometheus.Gatherer
	sender  *sender // nil: its certificates cannot be read yet
	queue   *queue
	builder builder
	log     *slog.Logger
	failing bool
	now     func() time.Time

	sent, refused, expired atomic.Uint64
}

// New makes a writer with what the run before left in cfg.Dir. A folder that
// cannot be read is no error: what waits is then in memory only.
func New(cfg Config, gather prometheus.Gatherer) *Writer {
	w := &Writer{
		cfg: cfg, gather: gather, builder: builder{station: cfg.Station},
		log: cfg.Log.With("receiver", cfg.URL), now: time.Now,
	}
	var err error
	if w.queue, err = openQueue(cfg.Dir, cfg.MaxBytes); err != nil {
		w.log.Error("remote write: what the run before left cannot be read", "error", err)
	}
	return w
}

// Pending counts the moments whose samples wait.
func (w *Writer) Pending() int {
	n, _ := w.queue.waiting()
	return n
}

// Sent counts the moments whose samples were taken.
func (w *Writer) Sent() uint64 { return w.sent.Load() }

// Dropped counts the moments whose samples were given up: refused, too old for
// the receiver, or without room on the disk.
func (w *Writer) Dropped() (refused, expired, full uint64) {
	_, full = w.queue.waiting()
	return w.refused.Load(), w.expired.Load(), full
}

// Run writes until ctx ends. A receiver that cannot be reached is no error.
func (w *Writer) Run(ctx context.Context) error {
	defer w.hangUp()
	// Not all stations of a site in step.
	for next := time.Now().Add(rand.N(w.cfg.Every)); ; next = next.Add(w.cfg.Every) {
		if late := time.Since(next); late > w.cfg.Every {
			next = time.Now()
		}
		timer := time.NewTimer(time.Until(next))
		select {
		case <-ctx.Done():
			timer.Stop()
			return w.stop()
		case <-timer.C:
		}
		w.round(ctx, next.Add(w.cfg.Every))
	}
}

// round sends the newest, then of the backlog what the time until the next
// round allows.
func (w *Writer) round(ctx context.Context, until time.Time) {
	fresh, err := w.take()
	if err == nil {
		err = w.send(ctx, fresh)
		if err == nil {
			w.sent.Add(1)
			err = w.drain(ctx, until)
		} else {
			err = errors.Join(err, w.queue.add(fresh))
		}
	}
	if ctx.Err() == nil {
		w.report(err)
	}
}

func (w *Writer) send(ctx context.Context, list ...instant) error {
	if w.sender == nil {
		s, err := newSender(w.cfg)
		if err != nil {
			return err
		}
		w.sender = s
	}
	return w.sender.send(ctx, list...)
}

func (w *Writer) hangUp() {
	if w.sender != nil {
		w.sender.client.CloseIdleConnections()
	}
}

func (w *Writer) take() (instant, error) {
	families, err := w.gather.Gather()
	if err != nil {
		return instant{}, err
	}
	return w.builder.build(families, w.now().UTC().Truncate(time.Millisecond)), nil
}

// drain sends what waits, oldest first. The receiver has just taken a message,
// so that a refusal is about what is sent.
func (w *Writer) drain(ctx context.Context, until time.Time) error {
	for ctx.Err() == nil && time.Now().Before(until) {
		b, found, err := w.queue.oldest()
		if err != nil || !found {
			return err
		}
		if err := w.sendParts(ctx, w.young(b.instants)); err != nil {
			return err
		}
		if err := w.queue.done(b); err != nil {
			return err
		}
	}
	return nil
}

// young leaves out what the receiver does not take any more.
func (w *Writer) young(list []instant) []instant {
	oldest := w.now().Add(-w.cfg.MaxAge)
	out := make([]instant, 0, len(list))
	for _, i := range list {
		if i.at.Before(oldest) {
			w.expired.Add(1)
			continue
		}
		out = append(out, i)
	}
	return out
}

// sendParts sends instants, in halves if they are refused together. What is
// refused alone is tried again and then given up.
func (w *Writer) sendParts(ctx context.Context, list []instant) error {
	if len(list) == 0 {
		return nil
	}
	err := w.send(ctx, list...)
	if err == nil {
		w.sent.Add(uint64(len(list)))
		return nil
	}
	if !errors.Is(err, errRefused) {
		return err
	}
	if half := len(list) / 2; half > 0 {
		if err := w.sendParts(ctx, list[:half]); err != nil {
			return err
		}
		return w.sendParts(ctx, list[half:])
	}
	return w.insist(ctx, list[0], err)
}

// insist tries an instant again that was refused alone.
func (w *Writer) insist(ctx context.Context, i instant, err error) error {
	for range tries - 1 {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(triesRest):
		}
		if err = w.send(ctx, i); err == nil {
			w.sent.Add(1)
			return nil
		}
		if !errors.Is(err, errRefused) {
			return err
		}
	}
	w.refused.Add(1)
	w.log.Warn("remote write: samples are given up that the receiver refuses; is remote_write.max_age longer than its out_of_order_time_window?",
		"of", i.at, "error", err)
	return nil
}

// stop sends the last values, or keeps them, and what waits, on the disk.
func (w *Writer) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopMost)
	defer cancel()
	fresh, err := w.take()
	if err == nil && w.send(ctx, fresh) == nil {
		w.sent.Add(1)
	} else if err == nil {
		err = w.queue.add(fresh)
	}
	return errors.Join(err, w.queue.spill())
}

// report tells the log when writing begins to fail and when it works again.
func (w *Writer) report(err error) {
	switch {
	case err != nil && !w.failing:
		w.log.Error("remote write: fails; samples wait and are sent when it works again", "error", err)
	case err == nil && w.failing:
		w.log.Info("remote write: works again", "waiting", w.Pending())
	}
	w.failing = err != nil
}
