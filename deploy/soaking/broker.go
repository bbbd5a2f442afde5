package main

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"

	"weepd/deploy/rig"
)

// broker is a real Mosquitto that keeps what it has acknowledged: persistence
// is off by default, a queue of 1,000 drops acknowledged messages, and more
// than one in flight may change their order.
type broker struct {
	dir, conf string
	port      int
	process   *rig.Process
}

func startBroker(dir string) (*broker, error) {
	me, err := user.Current() // or it drops root's rights and cannot write here
	if err != nil {
		return nil, err
	}
	port, err := rig.FreePort()
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
	b.process, err = rig.Start(filepath.Join(b.dir, "mosquitto.log"), "mosquitto", "-c", b.conf)
	if err != nil {
		return err
	}
	return rig.Until("mosquitto listens", patience, func() bool { return rig.Listens(b.port) })
}

// stop ends it in order: it writes down what its subscribers have not got.
func (b *broker) stop() error { return b.process.End() }

func (b *broker) url() string { return fmt.Sprintf("tcp://127.0.0.1:%d", b.port) }
