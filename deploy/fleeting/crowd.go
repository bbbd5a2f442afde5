package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/deploy/rig"
)

// crowdEvery is from one message of a station to its next: three times as often
// as a quiet station of eight glands, whose glands speak each five minutes.
const crowdEvery = 10 * time.Second

// crowd is connections like stations', without the stations: each of its own,
// with TLS and a certificate (all the same one), sending events of usual length.
type crowd struct {
	clients []paho.Client
	stop    func()
	sent    []uint64 // newest acknowledged of each; after stop
	faults  int
}

// farBroker holds so many connections at a broker of its own.
func farBroker(ctx context.Context, dir string, n int, span time.Duration) (s step, err error) {
	f, err := newSite(ctx, dir, 1, false)
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, f.stop()) }()
	office, err := newRoom(f)
	if err != nil {
		return s, err
	}
	defer office.client.Disconnect(100)
	c, err := gather(ctx, f, n)
	if err != nil {
		return s, err
	}
	defer c.leave()
	time.Sleep(crowdEvery) // all speak
	office.time(true)
	s.Stations = n
	if s.CPU, s.MB, err = spent(f.broker, span); err != nil {
		return s, err
	}
	office.time(false)
	c.stop()
	total := 0
	for _, last := range c.sent {
		total += int(last)
	}
	_ = rig.Until("the last messages arrive", rig.Patience, func() bool { return office.events() >= total })
	s.Lag99MS, s.Lost = office.lag(.99), max(total-office.events(), 0)+c.faults
	return s, nil
}

// gather connects n clients, some at a time.
func gather(ctx context.Context, f *site, n int) (*crowd, error) {
	config, err := f.tls("stations/"+stationID(0), "station")
	if err != nil {
		return nil, err
	}
	own, cancel := context.WithCancel(ctx)
	var all sync.WaitGroup
	c := &crowd{sent: make([]uint64, n)}
	c.stop = func() { cancel(); all.Wait() }
	var mu sync.Mutex
	for i := range n {
		client := paho.NewClient(paho.NewClientOptions().AddBroker(f.url()).SetClientID(fmt.Sprintf("crowd-%d", i)).SetTLSConfig(config).
			SetProtocolVersion(4).SetAutoReconnect(false).SetKeepAlive(30 * time.Second).SetOrderMatters(false))
		if token := client.Connect(); !token.WaitTimeout(rig.Patience) || token.Error() != nil {
			c.stop()
			c.leave()
			return nil, errors.Join(fmt.Errorf("connection %d of %d", i+1, n), token.Error())
		}
		c.clients = append(c.clients, client)
		all.Go(func() {
			if err := c.speak(own, client, i); err != nil {
				mu.Lock()
				c.faults++
				mu.Unlock()
			}
		})
	}
	return c, nil
}

// speak sends an event now and then. Numbers are of the one station that all
// pretend to be: each client has a range of its own.
func (c *crowd) speak(ctx context.Context, client paho.Client, i int) error {
	timer := time.NewTimer(rand.N(crowdEvery))
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		timer.Reset(crowdEvery)
		seq := uint64(i)<<32 + c.sent[i] + 1
		text := fmt.Appendf(nil, `{"seq":%d,"time":%q,"kind":"alarm","gland":"g00","condition":"burning","state":"active","alarm_state":"unacknowledged","was":"normal","priority":"high","dpm":30.25,"dpm_low":21.5,"dpm_high":41.75,"rise_c":5,"message":"The gland is %40.2f °C above its reference, more than its limit of 2 °C: it is burning or about to."}`,
			seq, time.Now().UTC().Format(time.RFC3339Nano), 5.0)
		token := client.Publish("weepd/"+stationID(0)+"/event", 1, false, text)
		if !token.WaitTimeout(rig.Patience) || token.Error() != nil {
			return errors.Join(errors.New("no acknowledgement"), token.Error())
		}
		c.sent[i]++
	}
}

func (c *crowd) leave() {
	for _, client := range c.clients {
		client.Disconnect(0)
	}
}
