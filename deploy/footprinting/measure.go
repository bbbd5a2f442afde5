package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"weepd/deploy/rig"
)

const (
	settleMost  = 45 * time.Second // the start's own costs are not the quiet day's
	scrapeEvery = 15 * time.Second
	volumeLeast = 10 * time.Minute
)

// measure runs both parts one after the other, so that a large station does not
// push the small ones out of the processor's caches.
func measure(out io.Writer, dir string, span time.Duration) (r result, err error) {
	b, err := build(dir)
	if err != nil {
		return r, err
	}
	r.Seconds, r.BinaryRatio = int(span.Seconds()), round(b.ratio)
	beside, err := b.side(out, filepath.Join(dir, "beside"), span, true, 8, 32)
	if err != nil {
		return r, err
	}
	floor, waking, small, large := beside[0], beside[1], beside[2], beside[3]
	r.RSSRatio8, r.RSSRatio32 = round(small.rss/floor.rss), round(large.rss/floor.rss)
	r.CPURatio8, r.CPURatio32 = round(small.cpu/floor.cpu), round(large.cpu/floor.cpu)
	r.CPUOverWaking32 = round(large.cpu / waking.cpu)
	if span < volumeLeast {
		_, _ = fmt.Fprintf(out, "too short for the volume: glands speak each 5 minutes; want %s\n", volumeLeast)
	} else {
		r.KBGlandDay8, r.KBGlandDay32 = round(small.kbGlandDay()), round(large.kbGlandDay())
	}
	grown, err := b.side(out, filepath.Join(dir, "growth"), span, false, 1, 10, 1000)
	if err != nil {
		return r, err
	}
	one, ten, thousand := grown[0], grown[1], grown[2]
	r.RSSGrowth = round(growth(one.rss, ten.rss, thousand.rss))
	r.CPUGrowth = round(growth(one.cpu, ten.cpu, thousand.cpu))
	return r, nil
}

// growth gives the cost of a gland more at 1,000 glands over that at 10, each
// beyond a station of one gland.
func growth(one, ten, thousand float64) float64 {
	return ((thousand - one) / 999) / ((ten - one) / 9)
}

type binaries struct {
	weepd, floor string
	ratio        float64
}

func build(dir string) (b binaries, err error) {
	b.weepd, b.floor = filepath.Join(dir, "weepd"), filepath.Join(dir, "floor")
	if err := errors.Join(rig.Build("weepd/cmd/weepd", b.weepd), rig.Build("weepd/deploy/footprinting/floor", b.floor)); err != nil {
		return b, err
	}
	agent, err := os.Stat(b.weepd)
	if err != nil {
		return b, err
	}
	floor, err := os.Stat(b.floor)
	if err != nil {
		return b, err
	}
	b.ratio = float64(agent.Size()) / float64(floor.Size())
	return b, nil
}

// cost is what one program took in the span.
type cost struct {
	name   string
	glands int
	rss    float64 // bytes, at the end
	cpu    float64 // share of one processor
	wire   float64 // bytes a second, both ways
}

func (c cost) kbGlandDay() float64 { return c.wire * 86400 / float64(c.glands) / 1000 }

// side runs programs side by side on one broker and gives what they cost; if the
// floor is wanted, first it and then one that only wakes for each drop of 32
// glands.
func (b binaries) side(out io.Writer, dir string, span time.Duration, floor bool, glands ...int) (costs []cost, err error) {
	broker, port, err := rig.Mosquitto(filepath.Join(dir, "broker"))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, broker.End()) }()
	var all []*subject
	defer func() {
		for _, s := range all {
			s.stop()
		}
	}()
	if floor {
		all = append(all, &subject{name: "floor", dir: filepath.Join(dir, "floor"), broker: port})
		all = append(all, &subject{name: "floor that wakes a drop", drops: 32 * weep, dir: filepath.Join(dir, "waking"), broker: port})
	}
	for _, n := range glands {
		name := fmt.Sprintf("weepd with %d glands", n)
		all = append(all, &subject{name: name, glands: n, dir: filepath.Join(dir, fmt.Sprint(n)), broker: port})
	}
	for _, s := range all {
		if err := s.start(b); err != nil {
			return nil, err
		}
	}
	if err := watch(all, min(settleMost, span/2)); err != nil {
		return nil, err
	}
	for _, s := range all {
		if err := s.begin(); err != nil {
			return nil, err
		}
	}
	if err := watch(all, span); err != nil {
		return nil, err
	}
	for _, s := range all {
		c, err := s.end()
		if err != nil {
			return nil, err
		}
		costs = append(costs, c)
		_, _ = fmt.Fprintf(out, "%-24s %6.1f MB RSS, %6.1f CPU seconds an hour, %6.0f bytes a minute to and from the broker\n",
			c.name, c.rss/1e6, c.cpu*3600, c.wire*60)
	}
	return costs, nil
}

// watch scrapes all for a while as a Prometheus would.
func watch(all []*subject, span time.Duration) error {
	tick := time.NewTicker(min(scrapeEvery, span))
	defer tick.Stop()
	for over := time.After(span); ; {
		for _, s := range all {
			if err := s.scrape(); err != nil {
				return err
			}
		}
		select {
		case <-over:
			return nil
		case <-tick.C:
		}
	}
}
