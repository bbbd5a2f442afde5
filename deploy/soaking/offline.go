package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// The station that is offline: 32 glands that weep 30 a minute, with
// temperatures each minute and an alarm every half hour of each, played
// some 3,000 times as fast as real.
const (
	offlineGlands = 32
	offlineSpeed  = 2880 // 48 h in a minute
	offlineDrip   = 20 * time.Second
	offlineTemp   = time.Minute
	offlineAlarm  = 30 * time.Minute // from one transition of a gland to the next
)

// Memory may grow by a quarter and 8 MB after the first eighth of the time:
// the heap of Go breathes.
const (
	growShare = 1.25
	growMB    = 8
)

// runOffline keeps a station without its broker for so many hours of its own
// time, looks at its memory, and then lets everything be delivered.
func runOffline(out io.Writer, dir, binary string, hours int) (err error) {
	dir = filepath.Join(dir, "offline")
	if err := makeDirs(dir); err != nil {
		return err
	}
	r := &rounds{out: out, seen: newSight()}
	defer func() { err = errors.Join(err, r.clear()) }()
	if err := r.connectTo(dir, "offline"); err != nil {
		return err
	}
	r.link.set(linkShut)
	if err := writeOffline(dir, time.Duration(hours)*time.Hour); err != nil {
		return err
	}
	if r.agent, err = newWeepd(binary, dir, "offline", mqttConfig(r.link.url())+offlineConfig()); err != nil {
		return err
	}
	if err := r.agent.start(); err != nil {
		return err
	}
	early, late, err := r.watchMemory(time.Duration(hours) * time.Hour / offlineSpeed)
	if err != nil {
		return err
	}
	waiting, err := r.agent.pending()
	if err != nil {
		return err
	}
	r.say("offline for %d h with %d glands at %d times the speed: %d events wait; resident memory %.1f MB after an eighth of the time, at most %.1f MB later",
		hours, offlineGlands, offlineSpeed, waiting, early, late)
	if late > early*growShare+growMB {
		return fmt.Errorf("memory grew from %.1f MB to %.1f MB", early, late)
	}
	if waiting < hours*offlineGlands {
		return fmt.Errorf("only %d events wait, want at least one a gland and hour", waiting)
	}
	v, err := r.deliver()
	if err != nil {
		return err
	}
	return v.err()
}

// watchMemory gives the resident memory after the first eighth and the most
// after it, in MB, until the recording has ended.
func (r *rounds) watchMemory(span time.Duration) (early, late float64, err error) {
	time.Sleep(span / 8)
	if early, err = residentMB(r.agent.process.cmd.Process.Pid); err != nil {
		return 0, 0, err
	}
	late = early
	err = until("the recording ends", 10*span+patience, func() bool {
		now, err := residentMB(r.agent.process.cmd.Process.Pid)
		late = max(late, now)
		return err != nil || strings.Contains(tail(r.agent.log(), 200), "source has ended")
	})
	if !r.agent.process.running() {
		err = errors.Join(errors.New("weepd ended by itself"), r.agent.panicked())
	}
	return early, late, err
}

// residentMB reads VmRSS as proc(5) has it.
func residentMB(pid int) (float64, error) {
	for line := range strings.Lines(readAll(fmt.Sprintf("/proc/%d/status", pid))) {
		if value, found := strings.CutPrefix(line, "VmRSS:"); found {
			kB, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(value), " kB"), 64)
			return kB / 1000, err
		}
	}
	return 0, errors.New("weepd has no memory: it has ended")
}

func offlineConfig() string {
	var b strings.Builder
	b.WriteString("glands:\n")
	played := fmt.Sprintf("{source: recording, path: offline.csv, speed: %d}", offlineSpeed)
	for i := range offlineGlands {
		fmt.Fprintf(&b, "  - {id: %s, limits: {rise_c: 2}, sensors: {drip: %[2]s, temp: %[2]s, ref: %[2]s}}\n", glandID(i), played)
	}
	return b.String()
}

func writeOffline(dir string, span time.Duration) (err error) {
	file, err := os.Create(filepath.Join(dir, "offline.csv"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	rows := bufio.NewWriter(file)
	_, _ = fmt.Fprintln(rows, "time,point,value") // Flush gives the error of all
	begin := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	apart := offlineDrip / offlineGlands
	for step := 0; time.Duration(step)*apart < span; step++ {
		gland, turn := step%offlineGlands, step/offlineGlands
		elapsed := time.Duration(step) * apart
		at := begin.Add(elapsed).Format("2006-01-02T15:04:05.000Z")
		_, _ = fmt.Fprintf(rows, "%s,%s.drip,10\n", at, glandID(gland))
		if turn%int(offlineTemp/offlineDrip) == 0 {
			hot := int(elapsed/offlineAlarm) % 2
			_, _ = fmt.Fprintf(rows, "%s,%s.ref,20\n%s,%s.temp,%d\n", at, glandID(gland), at, glandID(gland), 20+5*hot)
		}
	}
	return rows.Flush()
}
