package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"weepd/agent"
)

// progress shows on a terminal how far a replay is. What is printed meanwhile
// goes through it, whole lines at a time, so that the two do not mix.
type progress struct {
	agent.ReplayProgress

	mu    sync.Mutex
	bar   io.Writer
	out   io.Writer
	held  []byte // of a line that is not whole
	shown bool
	ended chan struct{}
	done  sync.WaitGroup
}

const (
	progressAfter = 500 * time.Millisecond // a short replay needs no bar
	progressEvery = 250 * time.Millisecond
	barWidth      = 24
)

// startProgress shows a replay's progress on s.err if that is a terminal, and does
// nothing otherwise. The replay is to print to what it returns; stop ends it.
func startProgress(s streams) (p *progress, stop func() error) {
	p = &progress{bar: s.err, out: s.out, ended: make(chan struct{})}
	if _, isScreen := screenOf(s.err); !isScreen {
		return p, p.end
	}
	began := time.Now()
	p.done.Go(func() {
		tick := time.NewTicker(progressEvery)
		defer tick.Stop()
		for {
			select {
			case <-p.ended:
				return
			case now := <-tick.C:
				if elapsed := now.Sub(began); elapsed >= progressAfter {
					p.show(elapsed)
				}
			}
		}
	})
	return p, func() error {
		close(p.ended)
		p.done.Wait()
		return p.end()
	}
}

// Write prints whole lines and holds back the rest.
func (p *progress) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held = append(p.held, b...)
	whole := bytes.LastIndexByte(p.held, '\n') + 1
	if whole == 0 {
		return len(b), nil
	}
	p.clear()
	_, err := p.out.Write(p.held[:whole])
	p.held = append(p.held[:0], p.held[whole:]...)
	return len(b), err
}

func (p *progress) show(elapsed time.Duration) {
	share, known := p.Share()
	line := progressLine(share, known, p.Rows(), elapsed)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.shown = true
	_, _ = io.WriteString(p.bar, "\r"+clearLine+line) // a bar that cannot be shown is no fault
}

func (p *progress) clear() {
	if p.shown {
		_, _ = io.WriteString(p.bar, "\r"+clearLine)
		p.shown = false
	}
}

// end takes the bar away and prints what was held back.
func (p *progress) end() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.clear()
	_, err := p.out.Write(p.held)
	p.held = nil
	return err
}

// progressLine is bar, share, rate and time left, or what of it is known.
func progressLine(share float64, known bool, rows int64, elapsed time.Duration) string {
	rate := fmt.Sprintf("%.1f M rows/s", float64(rows)/1e6/elapsed.Seconds())
	if !known {
		return fmt.Sprintf("%.1f M rows  %s", float64(rows)/1e6, rate)
	}
	full := int(share * barWidth)
	bar := strings.Repeat("#", full) + strings.Repeat(".", barWidth-full)
	left := "time left not known"
	if share > 0 {
		left = (time.Duration(float64(elapsed) * (1 - share) / share)).Round(time.Second).String() + " left"
	}
	return fmt.Sprintf("[%s] %3.0f %%  %s  %s", bar, share*100, rate, left)
}
