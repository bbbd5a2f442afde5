package agent

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"time"
)

// sourceStop bounds how long a source that is taken out may take to stop: the
// contract gives it a second.
const sourceStop = 2 * time.Second

// sources keeps the feeds running, each under a supervisor of its own.
type sources struct {
	clock *Clock
	queue *queue
	calm  *patience
	log   *slog.Logger

	mu   sync.Mutex
	ctx  context.Context // nil: not running
	all  sync.WaitGroup
	live []*liveFeed
}

type liveFeed struct {
	feed   Feed
	cancel context.CancelFunc
	done   chan struct{}
}

// run starts the feeds and keeps what runs until ctx ends. It calls opened when
// each of the first ones has been tried.
func (s *sources) run(ctx context.Context, feeds []Feed, opened func()) error {
	s.mu.Lock()
	s.ctx = ctx
	s.mu.Unlock()
	s.start(feeds).Wait() // openWithin bounds it
	opened()
	<-ctx.Done()
	s.mu.Lock()
	s.ctx = nil
	s.mu.Unlock()
	s.all.Wait()
	return nil
}

// start runs feeds. What it returns is waited for until each has been tried.
func (s *sources) start(feeds []Feed) *sync.WaitGroup {
	s.mu.Lock()
	defer s.mu.Unlock()
	var opening sync.WaitGroup
	if s.ctx == nil {
		return &opening
	}
	for _, f := range feeds {
		opening.Add(1)
		ctx, cancel := context.WithCancel(s.ctx)
		l := &liveFeed{f, cancel, make(chan struct{})}
		s.live = append(s.live, l)
		one := &supervisor{feed: f, clock: s.clock, queue: s.queue, calm: s.calm, log: s.log, tried: sync.OnceFunc(opening.Done)}
		s.all.Go(func() {
			defer close(l.done)
			defer cancel()
			defer one.tried()
			one.run(ctx)
		})
	}
	return &opening
}

// split says which running feeds are not among those wanted, and which of those
// do not run. A feed is the same if its key is.
func (s *sources) split(wanted []Feed) (gone []*liveFeed, fresh []Feed) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, l := range s.live {
		if !slices.ContainsFunc(wanted, l.feed.same) {
			gone = append(gone, l)
		}
	}
	for _, f := range wanted {
		if !slices.ContainsFunc(s.live, func(l *liveFeed) bool { return f.same(l.feed) }) {
			fresh = append(fresh, f)
		}
	}
	return gone, fresh
}

func (f Feed) same(other Feed) bool { return f.Key != "" && f.Key == other.Key }

// stop ends feeds and waits for them, bounded: a device that hangs costs the
// others nothing.
func (s *sources) stop(gone []*liveFeed) {
	late := time.NewTimer(sourceStop)
	defer late.Stop()
	for _, l := range gone {
		l.cancel()
	}
	for _, l := range gone {
		select {
		case <-l.done:
			continue
		case <-late.C:
			late.Reset(0)
		}
		s.log.Warn("a source that was taken out does not stop", "source", l.feed.Name)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.live = slices.DeleteFunc(s.live, func(l *liveFeed) bool { return slices.Contains(gone, l) })
}
