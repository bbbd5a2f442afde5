package page

import (
	"context"
	"log/slog"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"weepd/agent"
)

// The trend on the overview: the last six hours in steps of five minutes.
const (
	trendStep  = 5 * time.Minute
	trendSpan  = trendWide * trendStep
	trendAgain = 20 * time.Second // until there is some
)

// trends are the glands' last hours, read from the history now and then.
type trends struct {
	board   Board
	history History
	log     *slog.Logger
	number  atomic.Uint64
	asked   chan struct{} // closed when somebody looks

	mu    sync.Mutex
	paths map[string]string
}

func newTrends(p Parts) *trends {
	return &trends{board: p.Board, history: p.History, log: p.Log, asked: make(chan struct{})}
}

// version changes when the trends do.
func (t *trends) version() uint64 { return t.number.Load() }

// of gives a gland's trend as a path; empty if there is none.
func (t *trends) of(gland string) string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.paths[gland]
}

// run reads until ctx ends: first when somebody looks, for hours of every gland are
// too much for nobody; soon again while there is none, as a source may bring its
// past; then at every step.
func (t *trends) run(ctx context.Context) {
	if t.history == nil {
		return
	}
	select {
	case <-ctx.Done():
		return
	case <-t.asked:
	}
	wait := time.Duration(0)
	for {
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
		if wait = trendStep / 5; !t.read(ctx) {
			wait = trendAgain
		}
	}
}

// read reports whether there is a trend of any gland.
func (t *trends) read(ctx context.Context) bool {
	latest := t.board.Latest()
	to := latest.Time.Truncate(trendStep).Add(trendStep)
	paths := make(map[string]string, len(latest.Glands))
	for _, g := range latest.Glands {
		samples, _, err := t.history.Samples(ctx, g.Rules.ID+"."+agent.SeriesDPM, to.Add(-trendSpan), to, trendWide)
		if err != nil {
			if ctx.Err() == nil {
				t.log.Warn("page: trend cannot be read", "gland", g.Rules.ID, "error", err)
			}
			return false
		}
		if len(samples) > 0 {
			paths[g.Rules.ID] = bandOf(g).trendPath(levels(samples, to.Add(-trendSpan)))
		}
	}
	t.mu.Lock()
	t.paths = paths
	t.mu.Unlock()
	t.number.Add(1)
	return len(paths) > 0
}

// levels puts samples on their steps; a step without one is not a number.
func levels(samples []agent.Sample, from time.Time) []float64 {
	out := make([]float64, trendWide)
	for i := range out {
		out[i] = math.NaN()
	}
	for _, one := range samples {
		if i := int(one.Start.Sub(from) / trendStep); i >= 0 && i < trendWide {
			out[i] = one.Mean
		}
	}
	return out
}
