package agent

import (
	"sync"
	"sync/atomic"

	"weepd/sensors/recording"
)

// ReplayProgress says how far a replay is while it runs; it may be asked by
// another goroutine.
type ReplayProgress struct {
	rows atomic.Int64

	mu      sync.Mutex
	readers []*recording.Reader
	total   int64
}

func (p *ReplayProgress) fed(rows int64) {
	if p != nil {
		p.rows.Store(rows)
	}
}

// begin says what is read; total is its bytes, 0 if they are not known.
func (p *ReplayProgress) begin(readers []*recording.Reader, total int64) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.readers, p.total = readers, total
}

// Rows is how many rows have been fed.
func (p *ReplayProgress) Rows() int64 { return p.rows.Load() }

// Share is how much has been read, from 0 to 1; not ok if nobody knows the whole,
// as with standard input.
func (p *ReplayProgress) Share() (share float64, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.total <= 0 {
		return 0, false
	}
	read := int64(0)
	for _, r := range p.readers {
		read += r.Taken()
	}
	return min(1, float64(read)/float64(p.total)), true
}
