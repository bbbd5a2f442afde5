// Package broker is the small MQTT broker inside `weepd demo`. It lets
// everybody in, so it is for the machine's own loopback address; a station
// uses a broker of its own.
package broker

import (
	"context"
	"fmt"
	"log/slog"
	"net"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Broker serves one listener.
type Broker struct {
	server   *mochi.Server
	listener net.Listener
}

// Listen takes the address, so that a port in use is known before anything
// starts. Run serves it.
func Listen(ctx context.Context, address string, log *slog.Logger) (*Broker, error) {
	var lc net.ListenConfig
	listener, err := lc.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	server := mochi.New(&mochi.Options{Logger: log})
	if err := server.AddHook(new(anybody), nil); err != nil {
		return nil, err
	}
	if err := server.AddListener(listeners.NewNet("demo", listener)); err != nil {
		return nil, err
	}
	return &Broker{server, listener}, nil
}

// Addr is the address that is listened on.
func (b *Broker) Addr() string { return b.listener.Addr().String() }

// Run serves until ctx ends.
func (b *Broker) Run(ctx context.Context) error {
	if err := b.server.Serve(); err != nil {
		return err
	}
	<-ctx.Done()
	return b.server.Close()
}

type anybody struct{ mochi.HookBase }

func (*anybody) ID() string { return "anybody" }

func (*anybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}

func (*anybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }

func (*anybody) OnACLCheck(*mochi.Client, string, bool) bool { return true }
