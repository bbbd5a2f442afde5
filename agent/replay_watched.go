package agent

import (
	"slices"
	"sync"
	"time"

	"weepd/rules"
)

// span is a stretch of time without a row.
type span struct{ from, to time.Duration }

// watchedFiles says when no recording of several has a row, while each is read at
// its own pace.
type watchedFiles struct {
	mu    sync.Mutex
	moved *sync.Cond
	files []watchedFile
	off   bool // abandoned
}

// watchedFile is what is known of one recording.
type watchedFile struct {
	begun, over bool
	first       time.Duration
	known       time.Duration // its rows are known up to here
	gaps        []span        // longer than rules.MaxSilence
}

func newWatchedFiles(n int) *watchedFiles {
	w := &watchedFiles{files: make([]watchedFile, n)}
	w.moved = sync.NewCond(&w.mu)
	return w
}

func (w *watchedFiles) change(i int, do func(*watchedFile)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	do(&w.files[i])
	w.moved.Broadcast()
}

func (w *watchedFiles) began(i int, at time.Duration) {
	w.change(i, func(f *watchedFile) { f.begun, f.first, f.known = true, at, at })
}

func (w *watchedFiles) reached(i int, at time.Duration) {
	w.change(i, func(f *watchedFile) { f.known = max(f.known, at) })
}

func (w *watchedFiles) ended(i int, last time.Duration) {
	w.change(i, func(f *watchedFile) { f.over, f.known = true, last })
}

// abandon ends all waiting.
func (w *watchedFiles) abandon() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.off = true
	w.moved.Broadcast()
}

// silent tells of a stretch without a row of recording i and gives the parts of it,
// longer than rules.MaxSilence, in which no other has one either. It waits until
// the others are known so far.
func (w *watchedFiles) silent(i int, from, to time.Duration) ([]span, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f := &w.files[i]
	if !f.over {
		f.gaps, f.known = append(f.gaps, span{from, to}), to
		w.moved.Broadcast()
	}
	gaps := []span{{from, to}}
	for j := range w.files {
		other := &w.files[j]
		if j == i {
			continue
		}
		for !other.over && (!other.begun || other.known < to) {
			if w.off {
				return nil, errTogether
			}
			w.moved.Wait()
		}
		gaps = common(gaps, other.silences(from, to))
	}
	return slices.DeleteFunc(gaps, func(s span) bool { return s.to-s.from <= rules.MaxSilence }), nil
}

// silences are the stretches without a row within a stretch that is known.
func (f *watchedFile) silences(from, to time.Duration) (list []span) {
	if !f.begun {
		return []span{{from, to}}
	}
	if f.first > from {
		list = append(list, span{from, f.first})
	}
	for _, gap := range f.gaps {
		if gap.to > from && gap.from < to {
			list = append(list, gap)
		}
	}
	if f.over && f.known < to {
		list = append(list, span{f.known, to})
	}
	return list
}

// common is what two lists of stretches in order have in common.
func common(a, b []span) (list []span) {
	for _, x := range a {
		for _, y := range b {
			if from, to := max(x.from, y.from), min(x.to, y.to); from < to {
				list = append(list, span{from, to})
			}
		}
	}
	return list
}

// endOfAll waits until all recordings are over and gives the time of the last row.
func (w *watchedFiles) endOfAll() (last time.Duration, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range w.files {
		for !w.files[i].over {
			if w.off {
				return 0, errTogether
			}
			w.moved.Wait()
		}
	}
	return w.last(), nil
}

func (w *watchedFiles) end() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last()
}

func (w *watchedFiles) last() (last time.Duration) {
	for i := range w.files {
		if w.files[i].begun {
			last = max(last, w.files[i].known)
		}
	}
	return last
}
