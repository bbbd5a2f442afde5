package main

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/deploy/rig"
)

// room is the control room: it takes every station's events in a session that
// outlives the broker's absence.
type room struct {
	client paho.Client

	mu      sync.Mutex
	got     map[string]map[uint64]bool // by station
	count   int
	doubles int
	timed   bool
	lags    []time.Duration
	fault   error
}

func (f *site) tls(folder, name string) (*tls.Config, error) {
	pair, err := tls.LoadX509KeyPair(f.file(folder+"/"+name+".pem"), f.file(folder+"/"+name+".key"))
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(f.file("ca.pem"))
	if err != nil {
		return nil, err
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(text)
	return &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: pool, Certificates: []tls.Certificate{pair}}, nil
}

func newRoom(f *site) (*room, error) {
	config, err := f.tls("clients/control-room", "client")
	if err != nil {
		return nil, err
	}
	r := &room{got: make(map[string]map[uint64]bool)}
	ready := make(chan error, 1)
	opts := paho.NewClientOptions().AddBroker(f.url()).SetClientID("control-room").SetTLSConfig(config).
		SetCleanSession(false).SetAutoReconnect(true).SetMaxReconnectInterval(200 * time.Millisecond).SetProtocolVersion(4).SetOrderMatters(true).
		SetDefaultPublishHandler(r.take).SetOnConnectHandler(func(c paho.Client) {
		token := c.Subscribe("weepd/+/event", 1, r.take)
		go func() {
			token.Wait()
			select {
			case ready <- token.Error():
			default:
			}
		}()
	})
	r.client = paho.NewClient(opts)
	if token := r.client.Connect(); !token.WaitTimeout(rig.Patience) || token.Error() != nil {
		return nil, errors.Join(errors.New("the control room cannot connect"), token.Error())
	}
	select {
	case err := <-ready:
		return r, err
	case <-time.After(rig.Patience):
		return nil, errors.New("the control room's subscription is not answered")
	}
}

func (r *room) take(_ paho.Client, m paho.Message) {
	at := time.Now()
	var e struct {
		Seq  uint64
		Time time.Time
	}
	err := json.Unmarshal(m.Payload(), &e)
	station, _, _ := strings.Cut(strings.TrimPrefix(m.Topic(), "weepd/"), "/")
	r.mu.Lock()
	defer r.mu.Unlock()
	if err != nil {
		r.fault = fmt.Errorf("%s: %w", m.Topic(), err)
		return
	}
	if r.got[station] == nil {
		r.got[station] = make(map[uint64]bool)
	}
	if r.got[station][e.Seq] {
		r.doubles++
		return
	}
	r.got[station][e.Seq] = true
	r.count++
	if r.timed {
		r.lags = append(r.lags, at.Sub(e.Time))
	}
}

// time begins or ends the taking of lags; without a broker they say nothing.
func (r *room) time(on bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.timed = on
}

func (r *room) missing(station string, seqs []uint64) (missing int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, s := range seqs {
		if !r.got[station][s] {
			missing++
		}
	}
	return missing
}

func (r *room) lag(share float64) float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.lags) == 0 {
		return 0
	}
	slices.Sort(r.lags)
	return float64(r.lags[min(int(share*float64(len(r.lags))), len(r.lags)-1)].Microseconds()) / 1000
}
