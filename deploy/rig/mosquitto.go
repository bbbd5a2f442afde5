package rig

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
)

// Mosquitto starts a plain broker in a folder of its own.
func Mosquitto(dir string) (*Process, int, error) {
	port, err := FreePort()
	if err != nil {
		return nil, 0, err
	}
	p, err := MosquittoWith(dir, fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\n", port), port)
	return p, port, err
}

// MosquittoWith starts a broker with the listeners of its configuration.
func MosquittoWith(dir, listeners string, port int) (*Process, error) {
	me, err := user.Current() // or it drops root's rights and cannot read here
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	conf := filepath.Join(dir, "mosquitto.conf")
	if err := os.WriteFile(conf, fmt.Appendf(nil, "user %s\nlog_type error\nlog_type warning\n%s", me.Username, listeners), 0o600); err != nil {
		return nil, err
	}
	p, err := Start(filepath.Join(dir, "mosquitto.log"), "mosquitto", "-c", conf)
	if err != nil {
		return nil, err
	}
	return p, p.Await("mosquitto listens", func() bool { return Listens(port) })
}
