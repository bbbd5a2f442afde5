package main

import (
	"errors"
	"fmt"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// subscriber collects the events of a station.
type subscriber struct {
	client paho.Client
	mu     sync.Mutex
	got    *arrivals
	fault  error
	times  []time.Time // of first deliveries
	heard  func(event, time.Time)
}

// subscribe opens a session; one with a name outlives the broker's stops and
// misses nothing, one without is for what is measured.
func subscribe(broker, name, topic string, qos byte, heard func(event, time.Time)) (*subscriber, error) {
	s := &subscriber{got: newArrivals(), heard: heard}
	ready := make(chan error, 1)
	opts := clientOptions(broker, name).SetOnConnectHandler(func(c paho.Client) {
		token := c.Subscribe(topic, qos, s.take)
		go func() {
			token.Wait()
			select {
			case ready <- token.Error():
			default:
			}
		}()
	})
	s.client = paho.NewClient(opts)
	if err := connect(s.client); err != nil {
		return nil, err
	}
	select {
	case err := <-ready:
		return s, err
	case <-time.After(patience):
		return nil, errors.New("subscribe: no answer from the broker")
	}
}

func clientOptions(broker, name string) *paho.ClientOptions {
	return paho.NewClientOptions().AddBroker(broker).SetClientID(name).SetCleanSession(name == "").
		SetAutoReconnect(true).SetMaxReconnectInterval(200 * time.Millisecond).SetProtocolVersion(4).
		SetResumeSubs(true).SetOrderMatters(true)
}

func connect(c paho.Client) error {
	token := c.Connect()
	if !token.WaitTimeout(patience) {
		return errors.New("connect: no answer from the broker")
	}
	return token.Error()
}

func (s *subscriber) take(_ paho.Client, m paho.Message) {
	at := time.Now()
	e, err := parseEvent(m.Payload())
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		s.fault = fmt.Errorf("topic %s: %w", m.Topic(), err)
		return
	}
	before := len(s.got.first)
	s.got.add(e)
	if len(s.got.first) > before {
		s.times = append(s.times, at)
	}
	if s.heard != nil {
		s.heard(e, at)
	}
}

func (s *subscriber) newest() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.got.newest
}

func (s *subscriber) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.got.first)
}

// end closes it and gives what it got.
func (s *subscriber) end() (*arrivals, error) {
	s.client.Disconnect(100)
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.got, s.fault
}
