package gpio

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"

	"weepd/sensors"
)

// pinLine is a line on a pin of periph.io. Its edges are timed when they are
// seen, by the station's clock.
type pinLine struct {
	pin   gpio.PinIn
	edges bool // the pin tells edges; otherwise only its level is looked at
	clock sensors.Clock
	seen  []edge
	seq   uint32
	deaf  int // waits in a row that ended early without an edge
}

const (
	// longestWait bounds a pin's own wait, because nothing else ends it:
	// periph's gpioioctl 3.8.5 returns from WaitForEdge(-1) at once and from
	// WaitForEdge(0) never.
	longestWait = 250 * time.Millisecond

	// deafRounds in a row are a fault, as after the chip went away; periph
	// ends a single wait early when the pin is set up again.
	deafRounds = 4

	// lookEvery is how often a level without edges is looked at: a shaft
	// takes longer to start.
	lookEvery = 50 * time.Millisecond
)

var errDeaf = errors.New("the pin does not wait for edges")

// setUp makes a pin a line. A level is looked at now and then, since not every
// pin has edges both ways.
func setUp(pin gpio.PinIn, u use, clock sensors.Clock) (line, error) {
	pulls := map[string]gpio.Pull{"": gpio.PullNoChange, pullUp: gpio.PullUp, pullDown: gpio.PullDown, pullNone: gpio.Float}
	edges := gpio.FallingEdge
	switch {
	case u.both:
		edges = gpio.NoEdge
	case u.cfg.Edge == rising:
		edges = gpio.RisingEdge
	}
	if err := pin.In(pulls[u.cfg.Pull], edges); err != nil {
		return nil, fmt.Errorf("set up gpio %s for %s: %w; check that nothing else uses the pin and that it can be an input with edges",
			u.cfg.Pin, edges, err)
	}
	return &pinLine{pin: pin, edges: !u.both, clock: clock}, nil
}

func (p *pinLine) wait(ctx context.Context, d time.Duration) {
	if !p.edges {
		pause(ctx, min(d, lookEvery))
		return
	}
	d = min(d, longestWait)
	for p.deaf < deafRounds && ctx.Err() == nil {
		begun := p.clock()
		edgeCame := p.pin.WaitForEdge(d)
		now := p.clock()
		if edgeCame {
			p.seq++
			p.seen = append(p.seen, edge{now, p.seq})
		}
		if edgeCame || now-begun >= d/2 {
			p.deaf = 0
			return
		}
		p.deaf++
		pause(ctx, d) // it would spin
	}
}

// keeps: an edge is timed when it is seen.
func (p *pinLine) keeps() bool { return false }

func (p *pinLine) read() ([]edge, error) {
	if p.deaf >= deafRounds {
		return nil, errDeaf
	}
	seen := p.seen
	p.seen = p.seen[:0]
	return seen, nil
}

func (p *pinLine) high() (bool, error) { return bool(p.pin.Read()), nil }

func (p *pinLine) now() time.Duration { return p.clock() }

// close stops the edge detection. Its error changes nothing for anybody: the
// pin is not used any more.
func (p *pinLine) close() error {
	_ = p.pin.Halt()
	return nil
}
