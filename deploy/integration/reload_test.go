//go:build integration

package integration

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// dripping is a counter node that goes up by one 150 times a minute.
type dripping struct {
	path  string
	drops atomic.Int64
	stop  chan struct{}
	done  chan struct{}
}

func drip(t *testing.T, path string) *dripping {
	t.Helper()
	d := &dripping{path: path, stop: make(chan struct{}), done: make(chan struct{})}
	d.put(t)
	go func() {
		defer close(d.done)
		for tick := time.NewTicker(400 * time.Millisecond); ; {
			select {
			case <-d.stop:
				tick.Stop()
				return
			case <-tick.C:
				d.drops.Add(1)
				d.put(t)
			}
		}
	}()
	t.Cleanup(func() { d.end(); <-d.done })
	return d
}

// put replaces the file, so that nobody reads a half.
func (d *dripping) put(t *testing.T) {
	part := d.path + ".part"
	if err := os.WriteFile(part, fmt.Appendln(nil, d.drops.Load()), 0o600); err != nil {
		t.Error(err)
	}
	if err := os.Rename(part, d.path); err != nil {
		t.Error(err)
	}
}

func (d *dripping) end() {
	select {
	case <-d.stop:
	default:
		close(d.stop)
	}
}

const counted = `station: quarry
glands:
  - id: p1-de
    limits: {leak_dpm: %[1]d, gush_dpm: 2000}
    sensors: {drip: {source: counter, path: counts, every: 200ms}}
http: {listen: "127.0.0.1:%[2]d"}
mqtt: {broker: "tcp://127.0.0.1:%[3]d"}
`

// A configuration is changed under a running agent: written in place, replaced by
// a rename, half-written, at fault, valid again, by SIGHUP, with another port and
// another broker. Each comes into force or is refused, and is told of; the alarm
// stays, and no drop is lost through all of it: the count proves it.
func TestReload(t *testing.T) {
	dir := t.TempDir()
	port, second, httpPort, other := freePort(t), freePort(t), freePort(t), freePort(t)
	broker := mosquitto(t, dir, port, "allow_anonymous true\n")
	sub := subscribe(t, broker, "-p", fmt.Sprint(port))
	drops := drip(t, filepath.Join(dir, "counts"))
	first := drops.drops.Load()
	configuration := write(t, filepath.Join(dir, "quarry.yaml"), fmt.Sprintf(counted, 1000, httpPort, port))
	agent := launch(t, weepd, "run", "--config", configuration)
	page := func(path string) string {
		_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d%s", httpPort, path))
		return body
	}
	eventually(t, "the page", func() bool { return strings.Contains(page("/"), "quarry") })

	// Written in place: a limit below what falls, 150 a minute; the alarm comes.
	write(t, configuration, fmt.Sprintf(counted, 60, httpPort, port))
	sub.saysEventually(t, `"key":"glands.p1-de.limits.leak_dpm","old":"1000 dpm","new":"60 dpm"`)
	sub.saysEventually(t, `weepd/quarry/alarm/p1-de/leaking r0 q1 {"gland":"p1-de","condition":"leaking","state":"active"`)

	// Half-written by a slow writer, up to a line's end that would be valid.
	text := fmt.Sprintf(counted, 61, httpPort, port)
	half := strings.Index(text, "http:")
	out, err := os.Create(configuration)
	if err != nil {
		t.Fatal(err)
	}
	pieces := []string{text[:half], text[half:]}
	for _, piece := range pieces {
		if _, err := out.WriteString(piece); err != nil {
			t.Fatal(err)
		}
		time.Sleep(1500 * time.Millisecond)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	sub.saysEventually(t, `"old":"60 dpm","new":"61 dpm"`)

	// At fault, by a rename: told everywhere, nothing changes.
	replaced := func(text string) {
		if err := os.Rename(write(t, configuration+".new", text), configuration); err != nil {
			t.Fatal(err)
		}
	}
	replaced(strings.Replace(text, "leak_dpm: 61", "leak_dpm: 3", 1))
	sub.saysEventually(t, `{"state":"online"`)
	eventually(t, "refused in status", func() bool { return strings.Contains(lastOn(sub, "weepd/quarry/status"), `"config":{"problem":"`) })
	agent.saysEventually(t, "is at fault and not in force")
	if body := page("/"); !strings.Contains(body, "is at fault and not in force") {
		t.Errorf("the page does not tell: %s", body)
	}

	// Valid again, by SIGHUP, with a gland more and the page elsewhere.
	text = strings.Replace(fmt.Sprintf(counted, 62, other, port), "http:", "  - id: p2-de\nhttp:", 1)
	replaced(text)
	agent.signal(t, syscall.SIGHUP)
	sub.saysEventually(t, `"key":"glands.p2-de","new":"configured"`)
	eventually(t, "status without the problem", func() bool { return !strings.Contains(lastOn(sub, "weepd/quarry/status"), "problem") })
	httpPort = other
	eventually(t, "the page at its new address", func() bool { return strings.Contains(page("/"), "p2-de") })

	// Another broker: the old one is told offline, the new one gets the alarms.
	next := mosquitto(t, t.TempDir(), second, "allow_anonymous true\n")
	there := subscribe(t, next, "-p", fmt.Sprint(second))
	replaced(strings.Replace(text, fmt.Sprint(port), fmt.Sprint(second), 1))
	there.saysEventually(t, `weepd/quarry/alarm/p1-de/leaking r0 q1 {"gland":"p1-de","condition":"leaking","state":"active"`)
	eventually(t, "the change, told once", func() bool {
		return strings.Count(sub.output()+there.output(), `"key":"mqtt.broker"`) == 1
	})
	sub.saysEventually(t, `weepd/quarry/status r0 q1 {"state":"offline"`)

	var events []struct {
		Kind, Condition, State string
	}
	if err := json.Unmarshal([]byte(page("/api/v1/events")), &events); err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if e.Condition == "leaking" && e.State == "cleared" {
			t.Error("the alarm was lost on the way")
		}
	}
	drops.end()
	<-drops.done
	want := drops.drops.Load() - first
	eventually(t, fmt.Sprintf("%d drops", want), func() bool { return total(page("/metrics")) >= want-2 })
	if got := total(page("/metrics")); got > want || got < want-2 { // the agent may begin two drops late
		t.Errorf("counted %d drops of %d", got, want)
	}
}

// lastOn gives the newest message on a topic.
func lastOn(sub *process, topic string) (last string) {
	for line := range strings.Lines(sub.output()) {
		if strings.HasPrefix(line, topic+" ") {
			last = line
		}
	}
	return last
}

var dropsTotal = regexp.MustCompile(`(?m)^weepd_gland_drops_total\{gland="p1-de"\} ([0-9.e+]+)$`)

func total(metrics string) int64 {
	found := dropsTotal.FindStringSubmatch(metrics)
	if found == nil {
		return -1
	}
	n, err := strconv.ParseFloat(found[1], 64)
	if err != nil {
		return -1
	}
	return int64(n)
}
