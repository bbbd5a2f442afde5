package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// An alarm every 30 s of a gland's recorded time: two readings 5 °C over the
// reference raise `burning` with the limit of 2 °C, two at the reference clear
// it. What is measured is none of the rules' business here.
const (
	loadRow    = 15 * time.Second // from one reading of a gland to the next
	loadChange = 2 * loadRow      // from one alarm of a gland to the next
)

// load is a recording of alarms; it makes glands x speed / 30 of them in a
// second of real time.
type load struct {
	glands int
	span   time.Duration // of recorded time
	speed  int
}

func glandID(i int) string { return fmt.Sprintf("g%02d", i) }

// write makes the recording and gives the configuration of its glands.
func (l load) write(dir string) (glands string, err error) {
	var rows strings.Builder
	rows.WriteString("time,point,value\n")
	begin := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	apart := loadRow / time.Duration(l.glands)
	for step := 0; time.Duration(step)*apart < l.span; step++ {
		gland, turn := step%l.glands, step/l.glands
		at := begin.Add(time.Duration(step) * apart).Format("2006-01-02T15:04:05.000Z")
		if turn%4 == 0 {
			fmt.Fprintf(&rows, "%s,%s.ref,20\n", at, glandID(gland))
		}
		fmt.Fprintf(&rows, "%s,%s.temp,%d\n", at, glandID(gland), 20+5*(turn/2%2))
	}
	if err := os.WriteFile(filepath.Join(dir, "load.csv"), []byte(rows.String()), 0o600); err != nil {
		return "", err
	}
	return l.config(fmt.Sprintf("{source: recording, path: load.csv, speed: %d}", l.speed)), nil
}

// quiet is the same glands with nothing to tell.
func (l load) quiet(dir string) (glands string, err error) {
	if err := os.WriteFile(filepath.Join(dir, "calm"), []byte("20\n"), 0o600); err != nil {
		return "", err
	}
	return l.config("{source: file, path: calm, every: 10s}"), nil
}

func (l load) config(source string) string {
	var b strings.Builder
	b.WriteString("glands:\n")
	for i := range l.glands {
		fmt.Fprintf(&b, "  - {id: %s, limits: {rise_c: 2}, timing: {on_delay: 0s, off_delay: 0s, start_grace: 0s}, sensors: {temp: %s, ref: %s}}\n",
			glandID(i), source, source)
	}
	return b.String()
}

func mqttConfig(broker string) string { return fmt.Sprintf("mqtt: {broker: %q}\n", broker) }
