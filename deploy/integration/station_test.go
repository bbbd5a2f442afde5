//go:build integration

package integration

import (
	"fmt"
	"os/user"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// speed of the recording: some six minutes of a station in under a minute.
const speed = 10

// station writes a recording of two glands and the configuration of a station
// that plays it. Gland p1-de weeps 30 drops a minute for two minutes, then
// runs dry; p2-nde weeps 40 and then leaks 120. extra is added to the
// configuration.
func station(t *testing.T, dir string, extra string) (configuration string, httpPort int) {
	t.Helper()
	start := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	var rec strings.Builder
	rec.WriteString("time,point,value\n")
	row := func(at time.Duration, point, value string) {
		fmt.Fprintf(&rec, "%s,%s,%s\n", start.Add(at).Format("2006-01-02T15:04:05.000Z"), point, value)
	}
	for tenth := range 8 * 600 {
		at := time.Duration(tenth) * 100 * time.Millisecond
		changed := at >= 2*time.Minute
		if tenth == 0 {
			row(at, "p1-de.run", "1")
			row(at, "p2-nde.run", "1")
		}
		if tenth%100 == 0 {
			row(at, "p1-de.temp", "38.5")
			row(at, "p1-de.ref", "18.0")
		}
		switch {
		case !changed && tenth%20 == 0:
			row(at, "p1-de.drip", "1")
		case changed && tenth%100 == 50:
			row(at, "p1-de.drip", "0")
		}
		if !changed && tenth%15 == 0 || changed && tenth%5 == 0 {
			row(at, "p2-nde.drip", "1")
		}
	}
	write(t, filepath.Join(dir, "station.csv"), rec.String())
	httpPort = freePort(t)
	played := fmt.Sprintf("{source: recording, path: station.csv, speed: %d}", speed)
	configuration = write(t, filepath.Join(dir, "station.yaml"), fmt.Sprintf(`station: quarry
glands:
  - id: p1-de
    name: Pump 1, drive end
    sensors: {drip: %[1]s, temp: %[1]s, ref: %[1]s, run: %[1]s}
  - id: p2-nde
    name: Pump 2, non-drive end
    sensors: {drip: %[1]s, run: %[1]s}
http: {listen: "127.0.0.1:%[2]d"}
%[3]s`, played, httpPort, extra))
	return configuration, httpPort
}

// mosquitto starts a broker with more lines of configuration.
func mosquitto(t *testing.T, dir string, port int, more string) *process {
	t.Helper()
	me, err := user.Current() // or it drops root's rights and cannot read the test's files
	if err != nil {
		t.Fatal(err)
	}
	conf := write(t, filepath.Join(dir, "mosquitto.conf"), fmt.Sprintf("user %s\nlistener %d 127.0.0.1\n%s", me.Username, port, more))
	p := launch(t, "mosquitto", "-c", conf, "-v")
	p.saysEventually(t, "running")
	return p
}

// subscribe watches all topics, one line a message: topic, retained, QoS, payload.
func subscribe(t *testing.T, broker *process, args ...string) *process {
	t.Helper()
	p := launch(t, "mosquitto_sub", append(args, "-q", "1", "-t", "weepd/quarry/#", "-F", "%t r%r q%q %p")...)
	broker.saysEventually(t, "Received SUBSCRIBE")
	return p
}
