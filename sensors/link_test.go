package sensors

import (
	"errors"
	"io"
	"testing"
)

type fakeBus struct{ closed *int }

func (b fakeBus) String() string { return "bus 0" }
func (b fakeBus) Close() error   { *b.closed++; return nil }

func TestLinkOpensAnewAfterAnError(t *testing.T) {
	dialled, closed, absent := 0, 0, errors.New("no adapter")
	refuse := absent
	l := NewLink(func() (fakeBus, io.Closer, error) {
		if refuse != nil {
			return fakeBus{}, nil, refuse
		}
		dialled++
		b := fakeBus{&closed}
		return b, b, nil
	})
	used := 0
	use := func() error { return l.Use(func(fakeBus) error { used++; return nil }) }
	if err := use(); !errors.Is(err, absent) || used != 0 {
		t.Fatalf("without an adapter: %v, used %d", err, used)
	}
	refuse = nil
	if err := errors.Join(use(), use()); err != nil || dialled != 1 || used != 2 {
		t.Fatalf("%v, dialled %d, used %d", err, dialled, used)
	}
	pulled := errors.New("pulled out")
	err := l.Use(func(fakeBus) error { return pulled })
	if !errors.Is(err, pulled) || err.Error() != "transfer on bus 0: pulled out" || closed != 1 {
		t.Fatalf("%v, closed %d", err, closed)
	}
	if err := use(); err != nil || dialled != 2 {
		t.Fatalf("%v, dialled %d", err, dialled)
	}
	l.Close()
	l.Close()
	if closed != 2 {
		t.Errorf("closed %d", closed)
	}
}

// A transfer that hangs holds its bus; closing does not wait for it.
func TestLinkCloseDoesNotWait(t *testing.T) {
	closed := 0
	l := NewLink(func() (fakeBus, io.Closer, error) { return fakeBus{&closed}, fakeBus{&closed}, nil })
	began, release, done := make(chan struct{}), make(chan struct{}), make(chan error)
	go func() {
		done <- l.Use(func(fakeBus) error { close(began); <-release; return nil })
	}()
	<-began
	l.Close()
	if closed != 0 {
		t.Error("closed under a transfer")
	}
	close(release)
	if err := <-done; err != nil {
		t.Error(err)
	}
}
