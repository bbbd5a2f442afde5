package main

import (
	"context"
	"errors"
)

// work runs until its context ends.
type work func(context.Context) error

// part is a running piece of the agent that can be replaced while the rest runs.
type part struct {
	name  string
	first work
	swaps chan swap
}

// swap asks for another work. next is called once the old has stopped, so that it
// finds an address free; if it fails, back is run.
type swap struct {
	next, back func() (work, error)
	done       chan error
}

func newPart(name string, first work) *part {
	return &part{name: name, first: first, swaps: make(chan swap)}
}

// idle is the work of a part that has none.
func idle(ctx context.Context) error {
	<-ctx.Done()
	return nil
}

// Run runs what there is until ctx ends, or until it ends by itself.
func (p *part) Run(ctx context.Context) error {
	do := p.first
	for {
		own, cancel := context.WithCancel(ctx)
		ended := make(chan error, 1)
		go func() { ended <- do(own) }()
		select {
		case err := <-ended:
			cancel()
			return err
		case <-ctx.Done():
			cancel()
			return <-ended
		case s := <-p.swaps:
			cancel()
			err := <-ended
			made, failed := s.next()
			if failed != nil {
				var again error
				if made, again = s.back(); again != nil {
					s.done <- errors.Join(err, failed, again)
					return errors.Join(failed, again)
				}
			}
			do = made
			s.done <- errors.Join(err, failed)
		}
	}
}

// replace has the part do something else, and waits until it does.
func (p *part) replace(ctx context.Context, next, back func() (work, error)) error {
	s := swap{next, back, newDone()}
	select {
	case p.swaps <- s:
	case <-ctx.Done():
		return ctx.Err()
	}
	return <-s.done
}

func newDone() chan error { return make(chan error, 1) }
