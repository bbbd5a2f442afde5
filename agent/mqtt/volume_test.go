package mqtt

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/url"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/simulated"
)

const (
	volumeGlands = 2
	kbDayMost    = 60.0 // of a gland: what a metered link has to carry at a quiet station
)

// A whole quiet day of the real agent in fake time, every byte of MQTT counted
// both ways: glands of the usual weep that shift with the day's temperature.
func TestVolumeOfAQuietDay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		wire := &countedWire{}
		clock := agent.NewClock(nil)
		a, journal := quietStation(t, clock)
		p := New(testConfig("broker.example:1883"), a.Board(), journal, a, slog.New(slog.DiscardHandler))
		p.dial = wire.open
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- agent.RunAll(ctx, slog.New(slog.DiscardHandler), append([]agent.Service{{Name: "mqtt", Run: p.Run}}, a.Services()...)...)
		}()
		time.Sleep(time.Hour) // what the start says is not a quiet day's
		before, messages := wire.bytes.Load(), wire.published.Load()
		time.Sleep(24 * time.Hour)
		kb := float64(wire.bytes.Load()-before) / 1000 / volumeGlands
		t.Logf("%.1f kB a gland and day, %d messages", kb, (wire.published.Load()-messages)/volumeGlands)
		if kb > kbDayMost {
			t.Errorf("%.1f kB a gland and day, want at most %.0f", kb, kbDayMost)
		}
		if least := int64(24 * time.Hour / sendEvery); (wire.published.Load()-messages)/volumeGlands < least {
			t.Errorf("%d messages in a day, want each gland's at least every %s", wire.published.Load()-messages, sendEvery)
		}
		for _, alarm := range a.Board().Latest().Alarms {
			if alarm.Active() {
				t.Errorf("the day is not quiet: %s %s", alarm.Gland, alarm.Condition)
			}
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func quietStation(t *testing.T, clock *agent.Clock) (*agent.Agent, *agent.MemoryJournal) {
	t.Helper()
	o := agent.Options{Station: "quarry", Clock: clock, Log: slog.New(slog.DiscardHandler)}
	var sim simulated.Station
	for _, id := range []string{"p1-de", "p1-nde"}[:volumeGlands] {
		g := rules.GlandConfig{ID: id, NormalDPM: 30, Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1}}
		for kind := range reading.Kinds {
			g.Fitted[kind] = true
		}
		o.Glands = append(o.Glands, agent.GlandInfo{Name: id, Rules: g})
		sim.Glands = append(sim.Glands, simulated.Gland{ID: id, DPM: 30})
	}
	source, err := simulated.New(sim, sensors.Clock(clock.Steady))
	if err != nil {
		t.Fatal(err)
	}
	journal := agent.NewMemoryJournal(1000, true)
	o.Feeds, o.Journal = []agent.Feed{agent.FixedFeed(source)}, journal
	a, err := agent.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return a, journal
}

// countedWire is a link to a broker that acknowledges everything.
type countedWire struct{ bytes, published atomic.Int64 }

func (w *countedWire) open(*url.URL, paho.ClientOptions) (net.Conn, error) {
	here, there := net.Pipe()
	go w.serve(there)
	return countedConn{here, &w.bytes}, nil
}

func (w *countedWire) serve(c net.Conn) {
	defer func() { _ = c.Close() }()
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		var answer packets.ControlPacket
		switch p := p.(type) {
		case *packets.ConnectPacket:
			answer = packets.NewControlPacket(packets.Connack)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = p.MessageID, p.Qoss
			answer = ack
		case *packets.PublishPacket:
			w.published.Add(1)
			if p.Qos == 0 {
				continue
			}
			ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
			ack.MessageID = p.MessageID
			answer = ack
		case *packets.PingreqPacket:
			answer = packets.NewControlPacket(packets.Pingresp)
		default:
			return
		}
		if answer.Write(c) != nil {
			return
		}
	}
}

type countedConn struct {
	net.Conn
	bytes *atomic.Int64
}

func (c countedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	c.bytes.Add(int64(n))
	return n, err
}

func (c countedConn) Write(p []byte) (int, error) {
	n, err := c.Conn.Write(p)
	c.bytes.Add(int64(n))
	return n, err
}

var _ io.ReadWriteCloser = countedConn{}
