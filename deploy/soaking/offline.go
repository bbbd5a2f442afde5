package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"weepd/deploy/rig"
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

// growShare is what the most memory of the last quarter may be of the most of
// the second: the heap of Go breathes, and what grows with time would double.
const growShare = 1.25

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
	parts, err := r.watchMemory(10*time.Duration(hours)*time.Hour/offlineSpeed + patience)
	if err != nil {
		return err
	}
	waiting, err := r.agent.pending()
	if err != nil {
		return err
	}
	r.say("offline for %d h with %d glands at %d times the speed: %d events wait; most resident memory in each eighth of the time, MB: %.1f",
		hours, offlineGlands, offlineSpeed, waiting, parts)
	if early, late := max(parts[2], parts[3]), max(parts[6], parts[7]); late > early*growShare {
		return fmt.Errorf("memory grew from %.1f MB in the second quarter to %.1f MB in the last", early, late)
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

// watchMemory gives the most resident memory, in MB, in each eighth of the
// time until the recording has ended.
func (r *rounds) watchMemory(limit time.Duration) (parts [8]float64, err error) {
	var samples []float64
	err = rig.Until("the recording ends", limit, func() bool {
		now, err := residentMB(r.agent.process.Pid())
		samples = append(samples, now)
		time.Sleep(50 * time.Millisecond)
		return err != nil || strings.Contains(rig.Tail(r.agent.log(), 200), "source has ended")
	})
	if !r.agent.process.Running() {
		err = errors.Join(errors.New("weepd ended by itself"), r.agent.panicked())
	}
	for i, mb := range samples {
		part := &parts[i*len(parts)/len(samples)]
		*part = max(*part, mb)
	}
	return parts, err
}

// residentMB is in MB of a million bytes.
func residentMB(pid int) (float64, error) {
	bytes, err := rig.RSS(pid)
	return float64(bytes) / 1e6, err
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
