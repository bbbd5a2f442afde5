//go:build integration

package integration

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"weepd/agent/mqtt/sparkplug"
)

// The whole agent as a Sparkplug edge node at a real Mosquitto, with the shipped
// certificates and rights: births, data, alarms, events, its death at the end.
func TestSparkplugThroughMosquitto(t *testing.T) {
	t.Parallel()
	i, port := newInstaller(t), freePort(t)
	i.does("broker", "127.0.0.1", "localhost")
	i.does("station", "quarry")
	i.does("client", "control-room")
	broker := shippedBroker(t, i, port, "")
	room := launch(t, "mosquitto_sub", append(i.as(port, "clients/control-room/client"), "-q", "1", "-t", "spBv1.0/north/#", "-F", "%t r%r q%q %x")...)
	broker.saysEventually(t, "Received SUBSCRIBE from")
	publish := func(args ...string) {
		t.Helper()
		all := append(i.as(port, "clients/control-room/client"), args...)
		if out, err := exec.CommandContext(t.Context(), "mosquitto_pub", all...).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
	}
	at := filepath.Join(i.home, "stations/quarry")
	configuration, _ := station(t, t.TempDir(), fmt.Sprintf(
		"mqtt: {broker: \"ssl://127.0.0.1:%d\", payload: sparkplug, group: north, host_id: control, tls: {ca: %q, cert: %q, key: %q}}\n",
		port, i.home+"/ca.pem", at+"/station.pem", at+"/station.key"))
	agent := launch(t, weepd, "run", "--config", configuration)
	agent.saysEventually(t, "mqtt: connected")
	publish("-r", "-q", "1", "-t", "spBv1.0/STATE/control", "-m", fmt.Sprintf(`{"online":true,"timestamp":%d}`, time.Now().UnixMilli()))
	for _, line := range []string{
		"spBv1.0/north/NBIRTH/quarry r0 q0 ",
		"spBv1.0/north/DBIRTH/quarry/p1-de r0 q0 ",
		"spBv1.0/north/DBIRTH/quarry/p2-nde r0 q0 ",
		"spBv1.0/north/DDATA/quarry/p1-de r0 q0 ",
		"spBv1.0/north/NDATA/quarry r0 q0 ", // an event
	} {
		room.saysEventually(t, line)
	}
	before := countOf(room, "/NBIRTH/")
	rebirth := write(t, filepath.Join(t.TempDir(), "rebirth"), string(sparkplug.Payload{
		Time: time.Now(), Metrics: []sparkplug.Metric{{Name: "Node Control/Rebirth", Time: time.Now(), Datatype: sparkplug.Boolean, Value: true}},
	}.Append(nil)))
	publish("-t", "spBv1.0/north/NCMD/quarry", "-f", rebirth)
	eventually(t, "rebirth", func() bool { return countOf(room, "/NBIRTH/") == before+1 })
	agent.signal(t, syscall.SIGTERM)
	if err := agent.wait(t, patience); err != nil {
		t.Error(err)
	}
	room.saysEventually(t, "spBv1.0/north/NDEATH/quarry r0 q1 ")
	time.Sleep(200 * time.Millisecond)
	if n := countOf(room, "/NDEATH/"); n != 1 {
		t.Errorf("died %d times", n)
	}
}

// The whole agent pushes to a real Prometheus, waits while it is away, over a
// restart, and brings what waited.
func TestRemoteWriteToPrometheus(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	conf := write(t, filepath.Join(dir, "prometheus.yml"), "storage: {tsdb: {out_of_order_time_window: 1h}}\n")
	start := func() *process {
		p := launch(t, "prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"), "--web.listen-address="+address, "--web.enable-remote-write-receiver")
		p.saysEventually(t, "Server is ready")
		return p
	}
	configuration, _ := station(t, dir, fmt.Sprintf("remote_write: {url: \"http://%s/api/v1/write\", every: 5s}\n", address))
	agent := launch(t, weepd, "run", "--config", configuration)
	agent.saysEventually(t, "remote write: fails")
	time.Sleep(6 * time.Second) // one more waits
	agent.signal(t, syscall.SIGTERM)
	if err := agent.wait(t, patience); err != nil {
		t.Error(err)
	}
	stopped := time.Now()
	start()
	launch(t, weepd, "run", "--config", configuration)
	base := "http://" + address
	eventually(t, "the station's weep is there", func() bool {
		return len(query(t, base, `weepd_gland_drops_per_minute{station="quarry",job="weepd"}`)) == 2
	})
	eventually(t, "what waited is there", func() bool {
		return len(query(t, base, fmt.Sprintf(`weepd_build_info{station="quarry"} @ %d`, stopped.Unix()))) == 1
	})
}

func countOf(p *process, text string) int { return strings.Count(p.output(), text) }
