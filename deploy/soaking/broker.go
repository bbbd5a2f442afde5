package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/user"
	"path/filepath"
	"syscall"
	"time"
)

// broker is a real Mosquitto that keeps what it has acknowledged: persistence
// is off by default, a queue of 1,000 drops acknowledged messages, and more
// than one in flight may change their order.
type broker struct {
	dir, conf string
	port      int
	process   *process
}

func startBroker(dir string) (*broker, error) {
	me, err := user.Current() // or it drops root's rights and cannot write here
	if err != nil {
		return nil, err
	}
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	b := &broker{dir: dir, conf: filepath.Join(dir, "mosquitto.conf"), port: port}
	if err := os.WriteFile(b.conf, fmt.Appendf(nil, `user %s
listener %d 127.0.0.1
allow_anonymous true
persistence true
persistence_location %s/
max_queued_messages 0
max_inflight_messages 1
log_type error
log_type warning
`, me.Username, port, dir), 0o600); err != nil {
		return nil, err
	}
	return b, b.start()
}

func (b *broker) start() (err error) {
	b.process, err = start(filepath.Join(b.dir, "mosquitto.log"), "mosquitto", "-c", b.conf)
	if err != nil {
		return err
	}
	return until("mosquitto listens", patience, func() bool { return listens(b.port) })
}

// stop ends it in order: it writes down what its subscribers have not got.
func (b *broker) stop() error { return b.process.end(syscall.SIGTERM) }

func (b *broker) url() string { return fmt.Sprintf("tcp://127.0.0.1:%d", b.port) }

func listens(port int) bool {
	d := net.Dialer{Timeout: time.Second}
	c, err := d.DialContext(context.Background(), "tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return false
	}
	return c.Close() == nil
}

func freePort() (int, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	return l.Addr().(*net.TCPAddr).Port, l.Close()
}
