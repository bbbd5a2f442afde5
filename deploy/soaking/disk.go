package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"weepd/deploy/rig"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	diskBytes = 24 << 20
	liveLeast = 100 // events that must arrive while the disk fails
)

// runDisk lets the store's disk fail under a running agent: full, read-only,
// and with a damaged journal. Alarms must go out live all the same, the log
// must say what is wrong, and nothing may panic. It mounts a small disk of its
// own, so it needs root or sudo.
func runDisk(out io.Writer, dir, binary string) (err error) {
	dir = filepath.Join(dir, "disk")
	if err := makeDirs(dir); err != nil {
		return err
	}
	d := &failing{rounds: rounds{out: out, seen: newSight()}}
	defer func() { err = errors.Join(err, d.clear(), d.release()) }()
	if err := d.connectTo(dir, "disk"); err != nil {
		return err
	}
	token := d.sub.client.Subscribe("weepd/disk/alarm/+/+", 1, func(paho.Client, paho.Message) { d.alarms.Add(1) })
	if err := landed(token); err != nil {
		return err
	}
	if err := d.mount(dir); err != nil {
		return err
	}
	glands, err := soakLoad.write(dir)
	if err != nil {
		return err
	}
	if d.agent, err = newWeepd(binary, dir, "disk", mqttConfig(d.link.url())+glands); err != nil {
		return err
	}
	if err := d.agent.start(); err != nil {
		return err
	}
	if err := d.live("before anything fails"); err != nil {
		return err
	}
	for _, step := range []struct {
		what string
		do   func() error
	}{
		{"disk full", d.full}, {"read-only while running", d.readOnly}, {"read-only at the start", d.startReadOnly}, {"journal damaged", d.damaged},
	} {
		if err := step.do(); err != nil {
			return fmt.Errorf("%s: %w; the agent's log ends:\n%s", step.what, err, rig.Tail(d.agent.log(), 15))
		}
		d.say("%s: alarms went out live, the log says so", step.what)
	}
	return d.compare()
}

// failing is a station whose store is on a disk that fails.
type failing struct {
	rounds
	place   string // where the disk is mounted
	device  string
	mounted bool
	looked  int // bytes of the log
	alarms  atomic.Int64
}

func (d *failing) image() string { return filepath.Join(filepath.Dir(d.place), "disk.img") }

// mount makes an ext4 file system that turns read-only at its first error.
func (d *failing) mount(dir string) error {
	d.place = filepath.Join(dir, "store")
	if err := makeDirs(d.place); err != nil {
		return err
	}
	if err := os.WriteFile(d.image(), nil, 0o600); err != nil {
		return err
	}
	if err := os.Truncate(d.image(), diskBytes); err != nil {
		return err
	}
	if _, err := says("mkfs.ext4", "-q", "-E", "root_owner", d.image()); err != nil {
		return err
	}
	device, err := rootSays("losetup", "--find", "--show", d.image())
	if err != nil {
		return err
	}
	d.device = device
	return d.mountAs("errors=remount-ro")
}

func (d *failing) mountAs(options string) error {
	if err := asRoot("mount", "-o", options, d.device, d.place); err != nil {
		return err
	}
	d.mounted = true
	return nil
}

func (d *failing) unmount() error {
	if !d.mounted {
		return nil
	}
	d.mounted = false
	return asRoot("umount", d.place)
}

// release gives the disk back.
func (d *failing) release() error {
	if d.device == "" {
		return nil
	}
	return errors.Join(d.unmount(), asRoot("losetup", "--detach", d.device))
}

func asRoot(args ...string) error {
	_, err := rootSays(args...)
	return err
}

// rootSays runs a command as root, by sudo if need be, and gives its output.
func rootSays(args ...string) (string, error) {
	if os.Geteuid() != 0 {
		args = append([]string{"sudo", "-n"}, args...)
	}
	return says(args...)
}

func says(args ...string) (string, error) {
	name, err := exec.LookPath(args[0])
	if err != nil {
		name = "/usr/sbin/" + args[0] // not in everybody's PATH
	}
	text, err := exec.CommandContext(context.Background(), name, args[1:]...).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, strings.TrimSpace(string(text)))
	}
	return strings.TrimSpace(string(text)), nil
}

// live waits for new alarms and events at the subscriber.
func (d *failing) live(when string) error {
	before := d.sub.newest()
	return errors.Join(d.alarmsLive(when), rig.Until("events arrive "+when, patience, func() bool { return d.sub.newest() >= before+liveLeast }))
}

// alarmsLive waits for alarms alone: while older events cannot be read off the
// disk, newer ones wait for their turn.
func (d *failing) alarmsLive(when string) error {
	before := d.alarms.Load()
	err := rig.Until("alarms arrive "+when, patience, func() bool { return d.alarms.Load() >= before+liveLeast })
	if err == nil && !d.agent.process.Running() {
		err = errors.New("weepd ended by itself")
	}
	return errors.Join(err, d.agent.panicked())
}

// told waits for a text in what the log says since the last look.
func (d *failing) told(text string) error {
	err := rig.Until(fmt.Sprintf("the log says %q", text), patience, func() bool {
		return strings.Contains(readAll(d.agent.log())[d.looked:], text)
	})
	d.looked = len(readAll(d.agent.log()))
	return err
}

func (d *failing) full() error {
	filler := filepath.Join(d.place, "filler")
	if err := fill(filler); err != nil {
		return err
	}
	if err := errors.Join(d.told("the disk is full"), d.live("while the disk is full")); err != nil {
		return err
	}
	if err := os.Remove(filler); err != nil {
		return err
	}
	return errors.Join(d.told("writes again"), d.live("after there is room again"))
}

// fill takes all the room there is.
func fill(path string) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	for size := 1 << 20; size > 0; size /= 2 {
		for err == nil {
			_, err = file.Write(make([]byte, size))
		}
		if !errors.Is(err, syscall.ENOSPC) {
			return err
		}
		err = nil
	}
	return nil
}

func (d *failing) readOnly() error {
	trigger := fmt.Sprintf("/sys/fs/ext4/%s/trigger_fs_error", filepath.Base(d.device))
	if err := asRoot("sh", "-c", "echo 1 > "+trigger); err != nil {
		return err
	}
	return errors.Join(d.told("read-only"), d.live("while the file system is read-only"))
}

func (d *failing) startReadOnly() error {
	d.agent.process.Kill()
	if err := d.unmount(); err != nil {
		return err
	}
	_, _ = rootSays("e2fsck", "-fp", d.device) // 1: errors were corrected, as they must be
	if err := d.mountAs("ro"); err != nil {
		return err
	}
	if err := d.agent.start(); err != nil {
		return err
	}
	if err := errors.Join(d.told("read-only"), d.alarmsLive("after a start on a read-only file system")); err != nil {
		return err
	}
	if err := asRoot("mount", "-o", "remount,rw", d.place); err != nil {
		return err
	}
	return errors.Join(d.told("store: open"), d.live("after the file system is writable again"))
}

func (d *failing) damaged() error {
	d.agent.process.Kill()
	file, err := os.OpenFile(filepath.Join(d.place, "journal.db"), os.O_RDWR, 0)
	if err != nil {
		return err
	}
	noise := []byte(strings.Repeat("not a page of a database. ", 400))
	for at := int64(8192); err == nil && at < 65536; at += 16384 {
		_, err = file.WriteAt(noise, at)
	}
	if err := errors.Join(err, file.Close()); err != nil {
		return err
	}
	if err := d.agent.start(); err != nil {
		return err
	}
	return errors.Join(d.told("set aside"), d.live("after the journal was damaged"))
}

// compare holds what arrived to be in order and without two meanings of one
// seq. The journal itself was damaged on purpose.
func (d *failing) compare() error {
	time.Sleep(time.Second)
	got, err := d.sub.end()
	if err != nil {
		return err
	}
	d.say("delivered: %d events and %d doubles, newest seq %d", len(got.first), got.doubles, got.newest)
	v := &verdict{}
	v.count(&v.reordered, got.reordered, "delivered after a newer one")
	v.count(&v.changed, got.changed, "delivered twice, not the same")
	return errors.Join(v.err(), d.agent.stop(), d.agent.panicked())
}
