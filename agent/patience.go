package agent

import (
	"sync"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// patience is that of all sources that can wait.
type patience struct {
	mu   sync.Mutex
	all  map[*sensors.Patience][]reading.Point
	rest bool

	round int           // of asking
	left  int           // sources that have not handed over yet in this round
	done  chan struct{} // room for one: the last has
}

func newPatience() *patience {
	return &patience{all: make(map[*sensors.Patience][]reading.Point), done: make(chan struct{}, 1)}
}

// join is for a source that is about to run.
func (p *patience) join(points []reading.Point) *sensors.Patience {
	p.mu.Lock()
	defer p.mu.Unlock()
	one := sensors.NewPatience(p.rest)
	p.all[one] = points
	return one
}

// leave is for a source that has ended.
func (p *patience) leave(one *sensors.Patience) {
	one.Leave()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.all, one)
}

// setRest says to all whether readings may wait.
func (p *patience) setRest(on bool) {
	p.mu.Lock()
	p.rest = on
	p.mu.Unlock()
	for _, one := range p.list() {
		one.Rest(on)
	}
}

func (p *patience) list() []*sensors.Patience {
	p.mu.Lock()
	defer p.mu.Unlock()
	list := make([]*sensors.Patience, 0, len(p.all))
	for one := range p.all {
		list = append(list, one)
	}
	return list
}

// speaksFor reports whether each point has a source that can wait, and all of
// them have handed over what they were asked for.
func (p *patience) speaksFor(points map[reading.Point]time.Duration) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	found := 0
	for one, theirs := range p.all {
		if one.Late() {
			return false
		}
		for _, point := range theirs {
			if _, wanted := points[point]; wanted {
				found++
			}
		}
	}
	return found > 0 && found == len(points)
}

// ask has every source that keeps something back hand it over. What comes out of
// the channel says that all have; nil: there is nobody to ask.
func (p *patience) ask() <-chan struct{} {
	list := p.list()
	p.mu.Lock()
	p.round++
	round := p.round
	p.left = len(list)
	p.mu.Unlock()
	select {
	case <-p.done: // of a round that nobody waited for
	default:
	}
	if len(list) == 0 {
		return nil
	}
	served := func() { p.served(round) }
	for _, one := range list {
		if !one.Ask(served) {
			served()
		}
	}
	return p.done
}

func (p *patience) served(round int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if round != p.round {
		return // it was late
	}
	if p.left--; p.left == 0 {
		p.done <- struct{}{} // there is room
	}
}
