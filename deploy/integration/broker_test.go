//go:build integration

package integration

import (
	"crypto/x509"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// installer makes certificates by deploy/broker/authority.
type installer struct {
	t    *testing.T
	home string
}

func newInstaller(t *testing.T) installer {
	t.Helper()
	i := installer{t, filepath.Join(t.TempDir(), "authority")}
	i.does("init")
	return i
}

func (i installer) does(args ...string) {
	i.t.Helper()
	cmd := exec.CommandContext(i.t.Context(), "../broker/authority", args...)
	cmd.Env = append(os.Environ(), "WEEPD_AUTHORITY="+i.home)
	out, err := cmd.CombinedOutput()
	if err != nil {
		i.t.Fatalf("authority %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// shippedBroker starts Mosquitto with deploy/broker/weepd.conf and acl, behind
// what Debian's own mosquitto.conf says.
func shippedBroker(t *testing.T, i installer, port int, more string) *process {
	t.Helper()
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	shipped := strings.NewReplacer("listener 8883", fmt.Sprintf("listener %d 127.0.0.1", port), "/etc/mosquitto/weepd/", dir+"/")
	conf := write(t, filepath.Join(dir, "mosquitto.conf"), fmt.Sprintf("user %s\npersistence true\npersistence_location %s/\n%s%s",
		me.Username, dir, shipped.Replace(read(t, "../broker/weepd.conf")), more))
	for name, from := range map[string]string{
		"acl": "../broker/acl", "ca.pem": i.home + "/ca.pem", "crl.pem": i.home + "/crl.pem",
		"broker.pem": i.home + "/broker/broker.pem", "broker.key": i.home + "/broker/broker.key",
	} {
		write(t, filepath.Join(dir, name), read(t, from))
	}
	p := launch(t, "mosquitto", "-c", conf, "-v")
	p.saysEventually(t, "running")
	return p
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// as gives the arguments with which Mosquitto's clients use a certificate.
func (i installer) as(port int, certificate string) []string {
	at := filepath.Join(i.home, certificate)
	return []string{"-h", "127.0.0.1", "-p", fmt.Sprint(port), "--cafile", i.home + "/ca.pem", "--cert", at + ".pem", "--key", at + ".key"}
}

func (i installer) controlRoom(broker *process, port int) *process {
	i.t.Helper()
	p := launch(i.t, "mosquitto_sub", append(i.as(port, "clients/control-room/client"), "-q", "1", "-t", "weepd/#", "-F", "%t %p")...)
	broker.saysEventually(i.t, "Received SUBSCRIBE")
	return p
}

func publish(t *testing.T, as []string, topic, payload string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "mosquitto_pub", append(as, "-q", "1", "-t", topic, "-m", payload)...).CombinedOutput()
	if err != nil {
		t.Fatalf("mosquitto_pub: %v\n%s", err, out)
	}
}

// Over the shipped configuration of the broker a station reaches the control
// room and is reached by it, and no other station can speak or listen for it.
func TestBrokerKeepsStationsApart(t *testing.T) {
	i, port := newInstaller(t), freePort(t)
	i.does("broker", "127.0.0.1", "localhost")
	i.does("station", "quarry")
	i.does("station", "mill")
	i.does("client", "control-room")
	broker := shippedBroker(t, i, port, "")
	control := i.controlRoom(broker, port)

	stations := filepath.Join(i.home, "stations")
	configuration, httpPort := station(t, t.TempDir(), fmt.Sprintf("mqtt: {broker: \"ssl://127.0.0.1:%d\", tls: {ca: %[2]s/ca.pem, cert: %[2]s/station.pem, key: %[2]s/station.key}}\n",
		port, filepath.Join(stations, "quarry")))
	agent := launch(t, weepd, "run", "--config", configuration)
	for _, line := range []string{`weepd/quarry/status {"state":"online"`, `weepd/quarry/gland/p1-de {`, `weepd/quarry/alarm/p1-de/dry {`, `weepd/quarry/event {"seq":1,`} {
		control.saysEventually(t, line)
	}
	publish(t, i.as(port, "clients/control-room/client"), "weepd/quarry/command", `{"id":"c1","action":"shelve","gland":"p1-de","condition":"leaking","by":"M. Weaver","for":"1h"}`)
	control.saysEventually(t, `weepd/quarry/reply/c1 {"ok":true`)
	checkExpiry(t, httpPort)

	t.Run("a foreign station", func(t *testing.T) {
		mill := i.as(port, "stations/mill/station")
		eavesdropper := launch(t, "mosquitto_sub", append(mill, "-q", "1", "-t", "#", "-F", "%t %p")...)
		eavesdropper.saysNothingBut(t, broker, "mill")
		for _, topic := range []string{"weepd/quarry/event", "weepd/quarry/status", "weepd/quarry/alarm/p1-de/dry", "weepd/quarry/command", "weepd/mill/command", "other"} {
			publish(t, mill, topic, "forged")
		}
		publish(t, mill, "weepd/mill/event", "its own")
		control.saysEventually(t, "weepd/mill/event its own")
		if strings.Contains(control.output(), "forged") {
			t.Errorf("the control room got what a foreign station wrote:\n%s", control.output())
		}
		if n := strings.Count(broker.output(), "Denied PUBLISH"); n != 6 {
			t.Errorf("%d publishes denied, want 6", n)
		}
		if agent.ended() || strings.Contains(agent.output(), "forged") {
			t.Error("the station got a foreign station's command")
		}
		publish(t, i.as(port, "clients/control-room/client"), "weepd/mill/command", "for mill")
		eavesdropper.saysEventually(t, "weepd/mill/command for mill")
		if strings.Contains(eavesdropper.output(), "quarry") {
			t.Errorf("a station listens to another:\n%s", eavesdropper.output())
		}
	})
	t.Run("certificates that the broker refuses", func(t *testing.T) { checkRefused(t, i, broker, port) })
}

// saysNothingBut waits for a subscription and for what it lets through at once.
func (p *process) saysNothingBut(t *testing.T, broker *process, user string) {
	t.Helper()
	eventually(t, "subscription of "+user, func() bool {
		return strings.Contains(broker.output(), "u'"+user+"'") && strings.Count(broker.output(), "Received SUBSCRIBE") >= 3
	})
}

// checkExpiry reads when the certificates end as the agent tells it.
func checkExpiry(t *testing.T, httpPort int) {
	t.Helper()
	_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d/metrics", httpPort))
	for name, years := range map[string]float64{"mqtt.tls.ca": 20, "mqtt.tls.cert": 5, "mqtt.broker": 5} {
		var at float64
		_, after, found := strings.Cut(body, fmt.Sprintf("weepd_certificate_expiry_timestamp_seconds{certificate=%q} ", name))
		if _, err := fmt.Sscan(after, &at); err != nil || !found {
			t.Errorf("no end of %s: %v", name, err)
			continue
		}
		if left := time.Until(time.Unix(int64(at), 0)).Hours() / 24 / 365; left < years-0.1 || left > years+0.1 {
			t.Errorf("%s ends in %.1f years, want %g", name, left, years)
		}
	}
}

// checkRefused tries certificates that the broker must not take.
func checkRefused(t *testing.T, i installer, broker *process, port int) {
	stations := filepath.Join(i.home, "stations")
	i.does("station", "lost")
	i.does("revoke", "lost")
	write(t, filepath.Join(filepath.Dir(broker.cmd.Args[2]), "crl.pem"), read(t, i.home+"/crl.pem"))
	broker.signal(t, syscall.SIGHUP)
	broker.saysEventually(t, "Reloading config")
	stranger := newAuthority(t)
	client := func(c *x509.Certificate) { c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth} }
	stranger.issue(t, "quarry", filepath.Join(stations, "stranger"), client)

	trust := "ca: " + i.home + "/ca.pem"
	for _, c := range []struct{ name, tls, says string }{
		{"withdrawn", fmt.Sprintf("%s, cert: %[2]s/lost/station.pem, key: %[2]s/lost/station.key", trust, stations), "the broker refuses our certificate (revoked certificate)"},
		{"of a stranger", fmt.Sprintf("%s, cert: %[2]s/stranger.pem, key: %[2]s/stranger.key", trust, stations), "the broker refuses our certificate (unknown certificate authority)"},
		{"none", trust, "the broker asks for a certificate"},
	} {
		t.Run(c.name, func(t *testing.T) {
			configuration, _ := station(t, t.TempDir(), fmt.Sprintf("mqtt: {broker: \"ssl://127.0.0.1:%d\", tls: {%s}}\n", port, c.tls))
			agent := launch(t, weepd, "run", "--config", configuration)
			agent.saysEventually(t, c.says)
			agent.signal(t, syscall.SIGTERM)
			if err := agent.wait(t, patience); err != nil {
				t.Errorf("after SIGTERM: %v", err)
			}
		})
	}
}

// A broker whose certificate is wrong gets nothing, the log says why, and when
// the right one is there the station finds it by itself.
func TestBrokersCertificateIsRefusedAndTriedAgain(t *testing.T) {
	dir := t.TempDir()
	authority := newAuthority(t)
	authority.write(t, filepath.Join(dir, "ca.pem"))
	const host = "broker.quarry.example"
	authority.issue(t, host, filepath.Join(dir, "right"))
	long := -30 * 24 * time.Hour
	type trial struct {
		name, says    string
		port          int
		broker, agent *process
	}
	trials := []*trial{
		{name: "expired", says: "the broker's certificate ended on "},
		{name: "early", says: "the broker's certificate begins on "},
		{name: "host", says: "set mqtt.tls.server_name to a name in the certificate"},
		{name: "selfsigned", says: "ca.pem (mqtt.tls.ca) is not the CA that signed it"},
	}
	authority.issue(t, host, filepath.Join(dir, "expired"), func(c *x509.Certificate) { c.NotBefore, c.NotAfter = time.Now().Add(2*long), time.Now().Add(long) })
	authority.issue(t, host, filepath.Join(dir, "early"), func(c *x509.Certificate) { c.NotBefore, c.NotAfter = time.Now().Add(-long), time.Now().Add(-2*long) })
	authority.issue(t, "elsewhere.example", filepath.Join(dir, "host"))
	newAuthority(t).issue(t, host, filepath.Join(dir, "selfsigned"))
	start := func(c *trial, certificate string) *process {
		return mosquitto(t, t.TempDir(), c.port, fmt.Sprintf("allow_anonymous true\ncertfile %[1]s.pem\nkeyfile %[1]s.key\n", filepath.Join(dir, certificate)))
	}
	for _, c := range trials {
		c.port = freePort(t)
		c.broker = start(c, c.name)
		configuration, _ := station(t, t.TempDir(), fmt.Sprintf("mqtt: {broker: \"ssl://127.0.0.1:%d\", tls: {ca: %s/ca.pem, server_name: %s}}\n", c.port, dir, host))
		c.agent = launch(t, weepd, "run", "--config", configuration)
	}
	for _, c := range trials {
		c.agent.saysEventually(t, c.says)
		eventually(t, c.name+": tried again", func() bool { return strings.Count(c.broker.output(), "New connection") >= 2 })
		if strings.Contains(c.agent.output(), "mqtt: connected") {
			t.Errorf("%s: connected", c.name)
		}
		if n := strings.Count(c.agent.output(), "mqtt: not connected"); n != 1 {
			t.Errorf("%s: said %d times, want once", c.name, n)
		}
		c.broker.signal(t, syscall.SIGTERM)
		_ = c.broker.wait(t, patience)
		c.broker = start(c, "right")
	}
	for _, c := range trials {
		c.agent.saysEventually(t, "mqtt: connected")
	}
}

// A region's broker hands on what its stations say and brings the control
// room's commands, as in deploy/broker/bridge.conf.
func TestBridge(t *testing.T) {
	i, port, regionPort := newInstaller(t), freePort(t), freePort(t)
	i.does("broker", "127.0.0.1")
	i.does("station", "quarry")
	i.does("client", "control-room")
	i.does("client", "bridge-north")
	broker := shippedBroker(t, i, port, "")
	control := i.controlRoom(broker, port)
	bridge := strings.NewReplacer("broker.example:8883", fmt.Sprintf("127.0.0.1:%d", port), "/etc/mosquitto/weepd/bridge/", filepath.Join(i.home, "clients/bridge-north")+"/").
		Replace(read(t, "../broker/bridge.conf"))
	region := shippedBroker(t, i, regionPort, bridge)
	region.saysEventually(t, "Received CONNACK on connection bridge-to-control-room")

	at := i.as(regionPort, "stations/quarry/station")
	commands := launch(t, "mosquitto_sub", append(at, "-q", "1", "-t", "weepd/quarry/command", "-F", "%t %p")...)
	region.saysEventually(t, "weepd/quarry/command (QoS 1)")
	publish(t, append(at, "-r"), "weepd/quarry/alarm/p1-de/dry", "active")
	publish(t, at, "weepd/quarry/event", "first")
	control.saysEventually(t, "weepd/quarry/alarm/p1-de/dry active")
	control.saysEventually(t, "weepd/quarry/event first")
	eventually(t, "bridge takes commands", func() bool {
		publish(t, i.as(port, "clients/control-room/client"), "weepd/quarry/command", "go")
		time.Sleep(200 * time.Millisecond)
		return strings.Contains(commands.output(), "weepd/quarry/command go")
	})
	// A late control room finds the alarm retained.
	late := launch(t, "mosquitto_sub", append(i.as(port, "clients/control-room/client"), "-t", "weepd/#", "-F", "%t r%r %p")...)
	late.saysEventually(t, "weepd/quarry/alarm/p1-de/dry r1 active")

	// What comes while the line is down is handed on afterwards.
	broker.signal(t, syscall.SIGTERM)
	_ = broker.wait(t, patience)
	publish(t, at, "weepd/quarry/event", "while down")
	again := shippedBroker(t, i, port, "")
	control = i.controlRoom(again, port)
	control.saysEventually(t, "weepd/quarry/event while down")
}
