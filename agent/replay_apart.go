package agent

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/weep"
	"weepd/sensors/recording"
)

// Glands know nothing of each other but whether the station was watched. So where
// no gland's rows are spread over several recordings, each recording is read by a
// goroutine of its own, and some more judge the glands, on all processors.
// What comes of it is put in order of time at the end, and is what a replay of the
// merged rows gives. Whatever does not fit (a gland in two recordings, a row that
// cannot be read, a gland that the station has not) ends it without a word, and
// the rows are merged after all.

var errTogether = errors.New("the glands cannot be replayed apart")

// mostHeld bounds the transitions that are held until the end.
const mostHeld = 1 << 18

type apart struct {
	ctx      context.Context
	cancel   context.CancelFunc
	cfg      rules.Config
	progress *ReplayProgress
	rows     atomic.Int64
	held     atomic.Int64 // transitions
	watched  *watchedFiles
	judges   []*judge
	judging  sync.WaitGroup

	mu     sync.Mutex
	glands map[string]*apartGland
	fault  error // the first
}

// apartResult is what a replay apart gives.
type apartResult struct {
	rows        int64
	transitions []rules.Transition // in order of time
	glands      []*apartGland
	last        time.Duration
}

// replayApart replays recordings gland by gland; errTogether says that it cannot.
func replayApart(ctx context.Context, cfg rules.Config, progress *ReplayProgress, readers []*recording.Reader) (apartResult, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	a := &apart{ctx: ctx, cancel: cancel, cfg: cfg, progress: progress, glands: make(map[string]*apartGland), watched: newWatchedFiles(len(readers))}
	stop := context.AfterFunc(ctx, a.watched.abandon)
	defer stop()
	for range runtime.GOMAXPROCS(0) {
		j := &judge{models: weep.NewModels(), work: make(chan packet, packetsWaiting)}
		a.judges = append(a.judges, j)
		a.judging.Go(func() { j.run(ctx) })
	}
	var reads sync.WaitGroup
	for i, r := range readers {
		reads.Go(func() {
			f := &apartFile{apart: a, number: i, from: r, free: make(chan *recording.Batch, aheadBatches)}
			if err := f.run(); err != nil {
				a.fail(err)
			}
		})
	}
	reads.Wait()
	for _, j := range a.judges {
		close(j.work)
	}
	a.judging.Wait()
	if a.fault != nil {
		return apartResult{rows: a.rows.Load()}, a.fault
	}
	return a.result(), nil
}

func (a *apart) fail(err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.fault == nil {
		a.fault = err
	}
	a.cancel()
}

func (a *apart) result() apartResult {
	r := apartResult{rows: a.rows.Load(), last: a.watched.end()}
	for _, gc := range a.cfg.Glands { // of one instant, in the order of the configuration
		if g := a.glands[gc.ID]; g != nil {
			r.glands = append(r.glands, g)
			r.transitions = append(r.transitions, g.out...)
		}
	}
	slices.SortStableFunc(r.transitions, func(x, y rules.Transition) int { return int(min(1, max(-1, x.At-y.At))) })
	return r
}

// claim gives a gland to the recording that has its rows.
func (a *apart) claim(gland string, file int) (*apartGland, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if g := a.glands[gland]; g != nil {
		if g.file != file {
			return nil, errTogether
		}
		return g, nil
	}
	j := a.judges[len(a.glands)%len(a.judges)]
	station, err := rules.NewStationOf(a.cfg, gland, j.models)
	if err != nil {
		return nil, errTogether
	}
	tally := NewReplayTally(rules.Config{Glands: []rules.GlandConfig{a.config(gland)}})
	g := &apartGland{
		apart: a, id: gland, file: file, station: station, tally: tally, counted: tally.glands[gland],
		work: j.work, spare: make(chan []reading.Row, packetsWaiting),
	}
	a.glands[gland] = g
	return g, nil
}

func (a *apart) config(gland string) rules.GlandConfig {
	return a.cfg.Glands[slices.IndexFunc(a.cfg.Glands, func(g rules.GlandConfig) bool { return g.ID == gland })]
}
