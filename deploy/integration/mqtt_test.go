//go:build integration

package integration

import (
	"encoding/json"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A subscriber of a real broker sees status, readings, alarms and events; a
// graceful stop says offline; killing the agent makes the broker say it.
func TestRunThroughMosquitto(t *testing.T) {
	dir, port := t.TempDir(), freePort(t)
	broker := mosquitto(t, dir, port, "allow_anonymous true\n")
	sub := subscribe(t, broker, "-p", fmt.Sprint(port))
	configuration, httpPort := station(t, dir, fmt.Sprintf("mqtt: {broker: \"tcp://127.0.0.1:%d\"}\n", port))

	agent := launch(t, weepd, "run", "--config", configuration)
	for _, line := range []string{
		`weepd/quarry/status r0 q1 {"state":"online"`,
		`weepd/quarry/gland/p1-de r0 q0 {"time":`,
		`weepd/quarry/alarm/p1-de/dry r0 q1 {"gland":"p1-de","condition":"dry","state":"cleared"`,
		`weepd/quarry/alarm/p1-de/dry r0 q1 {"gland":"p1-de","condition":"dry","state":"active"`,
		`weepd/quarry/alarm/p2-nde/leaking r0 q1 {"gland":"p2-nde","condition":"leaking","state":"active"`,
		`weepd/quarry/event r0 q1 {"seq":1,`,
		`weepd/quarry/event r0 q1 {"seq":2,`,
	} {
		sub.saysEventually(t, line)
	}
	checkEvents(t, sub.output())
	checkAPI(t, httpPort)

	agent.signal(t, syscall.SIGHUP)
	agent.saysEventually(t, "SIGHUP")
	began := time.Now()
	agent.signal(t, syscall.SIGTERM)
	if err := agent.wait(t, patience); err != nil {
		t.Errorf("after SIGTERM: %v", err)
	}
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("stopped after %s, want within 5 s", took)
	}
	sub.saysEventually(t, `weepd/quarry/status r0 q1 {"state":"offline"`)

	// A late subscriber gets what is retained.
	late := launch(t, "mosquitto_sub", "-p", fmt.Sprint(port), "-t", "weepd/quarry/#", "-F", "%t r%r %p")
	late.saysEventually(t, `weepd/quarry/alarm/p1-de/dry r1 {"gland":"p1-de","condition":"dry","state":"active"`)
	late.saysEventually(t, `weepd/quarry/status r1 {"state":"offline"`)
	if strings.Contains(late.output(), "/event") {
		t.Error("events must not be retained")
	}

	killed := launch(t, weepd, "run", "--config", configuration)
	count := func() int { return strings.Count(sub.output(), `{"state":"offline"`) }
	eventually(t, "online again", func() bool { return strings.Count(sub.output(), `{"state":"online"`) == 2 })
	before := count()
	killed.signal(t, syscall.SIGKILL)
	eventually(t, "last will", func() bool { return count() == before+1 })
}

func checkEvents(t *testing.T, output string) {
	t.Helper()
	next := 1
	for line := range strings.Lines(output) {
		payload, ok := strings.CutPrefix(line, "weepd/quarry/event r0 q1 ")
		if !ok {
			continue
		}
		var e struct {
			Seq                                     int
			Time                                    time.Time
			Gland, Condition, State, Priority, Kind string
		}
		if err := json.Unmarshal([]byte(payload), &e); err != nil {
			t.Fatalf("%v: %s", err, payload)
		}
		if e.Seq != next {
			t.Errorf("event seq %d, want %d", e.Seq, next)
		}
		next++
		if e.Kind != "alarm" || e.Gland == "" || e.Condition == "" || e.Priority == "" || time.Since(e.Time).Abs() > patience {
			t.Errorf("event %s", payload)
		}
	}
	if next < 3 {
		t.Errorf("%d events, want at least 2", next-1)
	}
}

func checkAPI(t *testing.T, port int) {
	t.Helper()
	base := fmt.Sprintf("http://127.0.0.1:%d", port)
	for path, want := range map[string]string{
		"/":                      "Pump 1, drive end",
		"/healthz":               "ok",
		"/api/v1/glands":         `"id": "p1-de"`,
		"/api/v1/alarms":         `"condition": "dry"`,
		"/api/v1/events?after=0": `"seq": 1`,
	} {
		if status, body := get(t, base+path); status != 200 || !strings.Contains(body, want) {
			t.Errorf("%s: status %d, want 200 and %s in:\n%s", path, status, want, body)
		}
	}
	if status, body := get(t, base+"/api/v1/events?after=x"); status != 400 || !strings.Contains(body, "want the seq") {
		t.Errorf("bad after: status %d, %s", status, body)
	}
}

func TestTLSWithUserAndPassword(t *testing.T) {
	dir, port := t.TempDir(), freePort(t)
	authority := newAuthority(t)
	authority.write(t, filepath.Join(dir, "ca.pem"))
	authority.issue(t, "broker.quarry.example", filepath.Join(dir, "broker"))
	passwords := write(t, filepath.Join(dir, "passwords"), "")
	if out, err := exec.CommandContext(t.Context(), "mosquitto_passwd", "-b", passwords, "weepd", "s3cret #1").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	broker := mosquitto(t, dir, port, fmt.Sprintf(
		"cafile %[1]s/ca.pem\ncertfile %[1]s/broker.pem\nkeyfile %[1]s/broker.key\nallow_anonymous false\npassword_file %[1]s/passwords\n", dir))
	write(t, filepath.Join(dir, "password"), "s3cret #1\n")
	write(t, filepath.Join(dir, "wrong"), "guess\n")
	stranger := newAuthority(t)
	stranger.write(t, filepath.Join(dir, "stranger.pem"))

	mqtt := func(password, tls string) string {
		return fmt.Sprintf("mqtt:\n  broker: ssl://127.0.0.1:%d\n  username: weepd\n  password_file: %s\n%s", port, password, tls)
	}
	const named = ", server_name: broker.quarry.example}\n"
	for _, c := range []struct{ name, extra, says string }{
		{"right", mqtt("password", "  tls: {ca: ca.pem"+named), "mqtt: connected"},
		{"no CA", mqtt("password", "  tls: {server_name: broker.quarry.example}\n"),
			"certificate signed by unknown authority; set mqtt.tls.ca to the CA's file"},
		{"wrong CA", mqtt("password", "  tls: {ca: stranger.pem"+named),
			"certificate signed by unknown authority; " + filepath.Join(dir, "stranger.pem") + " (mqtt.tls.ca) is not the CA that signed it"},
		{"wrong name", mqtt("password", "  tls: {ca: ca.pem}\n"), "set mqtt.tls.server_name to a name in the certificate"},
		{"wrong password", mqtt("wrong", "  tls: {ca: ca.pem"+named),
			"user name or password refused; check mqtt.username and mqtt.password_file"},
		{"no password file", mqtt("missing", "  tls: {ca: ca.pem"+named), "mqtt.password_file: open"},
	} {
		t.Run(c.name, func(t *testing.T) {
			configuration, _ := station(t, dir, c.extra)
			agent := launch(t, weepd, "run", "--config", configuration)
			agent.saysEventually(t, c.says)
			if n := strings.Count(agent.output(), "s3cret"); n != 0 {
				t.Error("the password is in the log")
			}
			agent.signal(t, syscall.SIGTERM)
			if err := agent.wait(t, patience); err != nil {
				t.Errorf("after SIGTERM: %v", err)
			}
		})
	}
	if broker.ended() {
		t.Error("the broker has ended")
	}
}
