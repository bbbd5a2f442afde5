package sensors

import (
	"context"
	"sync"
)

// Patient is a Source of which not every reading is waited for: what happens is kept
// with its own time somewhere (in the kernel, say), and read when the agent asks.
// So a quiet station's processor is not woken for each drop. What a Patient emits
// unasked may lie in the queue for as long.
type Patient interface {
	Source
	// Heed gives the source its patience, at most once and before Run.
	Heed(*Patience)
}

// Patience tells a source whether readings are wanted as they come or, while all is
// calm, only when they are asked for. Run calls Asked; all else is the agent's. The
// nil Patience is none: readings are always wanted at once.
type Patience struct {
	mu     sync.Mutex
	rest   bool
	held   bool          // Asked waits
	served func()        // what was asked for is not handed over yet; nil: it is
	wake   chan struct{} // asked, or the rest is over
}

// NewPatience makes one for a source that is about to run.
func NewPatience(rest bool) *Patience { return &Patience{rest: rest, wake: make(chan struct{}, 1)} }

// Asked waits until the agent asks. It is true when all that happened before is
// wanted now; the next call says that it has been emitted. It is false while readings
// are wanted as they come, when they are wanted so from now on, and when ctx ends:
// then the source emits what it has, and waits for more by itself.
func (p *Patience) Asked(ctx context.Context) bool {
	if p == nil {
		return false
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.serve()
	if !p.rest {
		return false
	}
	p.held = true
	p.mu.Unlock()
	select {
	case <-p.wake:
	case <-ctx.Done():
	}
	p.mu.Lock()
	p.held = false
	select {
	case <-p.wake: // both at once
	default:
	}
	return p.served != nil
}

// Served says early what the next Asked would say.
func (p *Patience) Served() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.serve()
}

func (p *Patience) serve() {
	if p.served != nil {
		p.served()
		p.served = nil
	}
}

// Rest says whether readings may wait until they are asked for.
func (p *Patience) Rest(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rest = on
	if !on && p.held {
		p.call()
	}
}

// Ask has the source hand over what it keeps; served, which must not wait, is called
// when it has. False: it keeps nothing back, so that nothing is asked.
func (p *Patience) Ask(served func()) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.held || p.served != nil {
		return false
	}
	p.served = served
	p.call()
	return true
}

func (p *Patience) call() {
	select {
	case p.wake <- struct{}{}:
	default: // it has been called
	}
}

// Late reports that what was asked for has not been handed over yet.
func (p *Patience) Late() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.served != nil
}

// Leave says that the source runs no more.
func (p *Patience) Leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rest = false
	p.serve()
}
