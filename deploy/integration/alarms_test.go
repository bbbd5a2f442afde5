//go:build integration

package integration

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// told is an event or an alarm as a subscriber sees it.
type told struct {
	Seq                                            uint64
	Kind, Gland, Condition, State, By, Note, Error string
	AlarmState                                     string `json:"alarm_state"`
	Command, Reason, Message                       string
	OK                                             bool
	Until                                          *time.Time
}

// on gives what came on a topic.
func (p *process) on(t *testing.T, topic string) (list []told) {
	t.Helper()
	for line := range strings.Lines(p.output()) {
		if rest, found := strings.CutPrefix(line, "weepd/quarry/"+topic+" "); found {
			_, payload, _ := strings.Cut(strings.TrimSpace(rest), "{")
			var e told
			if err := json.Unmarshal([]byte("{"+payload), &e); err != nil {
				t.Fatalf("%v: %s", err, line)
			}
			list = append(list, e)
		}
	}
	return list
}

// firstDeliveries checks that the seqs rise by one, leaving out repetitions.
func firstDeliveries(t *testing.T, list []told) (events []told) {
	t.Helper()
	for _, e := range list {
		switch next := uint64(len(events)) + 1; {
		case e.Seq == next:
			events = append(events, e)
		case e.Seq > next:
			t.Fatalf("event %d came before %d: %+v", e.Seq, next, e)
		}
	}
	return events
}

func mqttCommand(t *testing.T, port int, sub *process, id, rest string) told {
	t.Helper()
	payload := fmt.Sprintf(`{"id":%q,%s}`, id, rest)
	send := exec.CommandContext(t.Context(), "mosquitto_pub", "-p", fmt.Sprint(port), "-q", "1", "-t", "weepd/quarry/command", "-m", payload)
	if out, err := send.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	eventually(t, "reply to "+payload, func() bool { return len(sub.on(t, "reply/"+id)) > 0 })
	replies := sub.on(t, "reply/"+id)
	return replies[len(replies)-1]
}

// httpCommand posts a command as a program with a token.
func httpCommand(t *testing.T, port int, token, body string) (status int, reply told) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, fmt.Sprintf("http://127.0.0.1:%d/api/v1/command", port), strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/json")
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = response.Body.Close() }()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &reply); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return response.StatusCode, reply
}

func alarmNow(t *testing.T, sub *process, key string) told {
	t.Helper()
	list := sub.on(t, "alarm/"+key)
	if len(list) == 0 {
		return told{}
	}
	return list[len(list)-1]
}

const dryKey = `"gland":"p1-de","condition":"dry"`

// An acknowledgement and a shelf survive SIGKILL; numbers go on; nothing is
// raised by the restart.
func TestAlarmsSurviveKill(t *testing.T) {
	dir, port := t.TempDir(), freePort(t)
	broker := mosquitto(t, dir, port, "allow_anonymous true\n")
	sub := subscribe(t, broker, "-p", fmt.Sprint(port))
	token := strings.TrimSpace(runOnce(t, weepd, "user", "token", "--file", filepath.Join(dir, "users"), "panel"))
	token = token[strings.LastIndexAny(token, " \n")+1:]
	extra := fmt.Sprintf("mqtt: {broker: \"tcp://127.0.0.1:%d\"}\nalarms: {longest_shelf: 8h, settle: 24h}\n", port)
	configuration, httpPort := station(t, dir, extra)
	addUsers(t, configuration)

	agent := launch(t, weepd, "run", "--config", configuration)
	eventually(t, "both alarms", func() bool {
		return alarmNow(t, sub, "p1-de/dry").State == "active" && alarmNow(t, sub, "p2-nde/leaking").State == "active"
	})
	if r := mqttCommand(t, port, sub, "m1", `"action":"acknowledge",`+dryKey+`,"by":"M. Weaver","note":"on my way"`); !r.OK {
		t.Errorf("acknowledge by MQTT: %+v", r)
	}
	if r := mqttCommand(t, port, sub, "m2", `"action":"shelve",`+dryKey+`,"by":"M. Weaver","for":"9h"`); r.OK || r.Reason != "too-long" || !strings.Contains(r.Error, "8h0m0s") {
		t.Errorf("a shelf that is too long: %+v", r)
	}
	commandByHTTP(t, httpPort, token)
	eventually(t, "every event", func() bool {
		list := sub.on(t, "event")
		return slices.ContainsFunc(list, func(e told) bool { return e.Kind == "upkeep" }) &&
			slices.ContainsFunc(list, func(e told) bool { return e.AlarmState == "shelved" })
	})
	eventually(t, "shelved", func() bool { return alarmNow(t, sub, "p2-nde/leaking").AlarmState == "shelved" })
	before := firstDeliveries(t, sub.on(t, "event"))
	until := alarmNow(t, sub, "p2-nde/leaking").Until
	agent.signal(t, syscall.SIGKILL)
	_ = agent.wait(t, patience) // it was killed

	again := launch(t, weepd, "run", "--config", configuration)
	checkAfterKill(t, port, httpPort, sub, before, until)
	again.signal(t, syscall.SIGTERM)
	if err := again.wait(t, patience); err != nil {
		t.Errorf("after SIGTERM: %v", err)
	}
}

// checkAfterKill looks at the run after one that was killed.
func checkAfterKill(t *testing.T, port, httpPort int, sub *process, before []told, until *time.Time) {
	t.Helper()
	eventually(t, "the event of the time off", func() bool {
		list := sub.on(t, "event")
		return list[len(list)-1].Kind == "down"
	})
	if a := alarmNow(t, sub, "p1-de/dry"); a.AlarmState != "acknowledged" || a.By != "M. Weaver" || a.Note != "on my way" || a.State != "active" {
		t.Errorf("acknowledged alarm after the kill: %+v", a)
	}
	// The recording runs faster than the clock; so does the shelf.
	if a := alarmNow(t, sub, "p2-nde/leaking"); a.AlarmState != "shelved" || a.By != "panel" || a.Until == nil || a.Until.Sub(*until).Abs() > time.Minute {
		t.Errorf("shelved alarm after the kill: %+v, until %v before", a, until)
	}
	if r := mqttCommand(t, port, sub, "m1", `"action":"acknowledge",`+dryKey+`,"by":"M. Weaver","note":"on my way"`); !r.OK {
		t.Errorf("the same command after the kill: %+v, want its first reply", r)
	}
	after := firstDeliveries(t, sub.on(t, "event"))
	if len(after) != len(before)+1 || after[len(before)].Kind != "down" || !strings.Contains(after[len(before)].Message, "without being stopped") {
		t.Errorf("events after the kill: %+v", after[len(before):])
	}
	checkStoredEvents(t, httpPort, after)
}

func commandByHTTP(t *testing.T, port int, token string) {
	t.Helper()
	for _, c := range []struct {
		body string
		want int
	}{
		{`{"id":"h0","action":"shelve","gland":"p9","condition":"dry","for":"1h"}`, http.StatusNotFound},
		{`{"id":"h1","action":"shelve","gland":"p2-nde","condition":"leaking"}`, http.StatusBadRequest},
		{`{"id":"h2","action":"unshelve","gland":"p2-nde","condition":"leaking"}`, http.StatusConflict},
		{`{"id":"h3","action":"shelve","gland":"p2-nde","condition":"leaking","for":"8h"}`, http.StatusOK},
		{`{"id":"h4","action":"record","gland":"p2-nde","kind":"adjusted","value":{"flats":0.5}}`, http.StatusOK},
	} {
		if status, reply := httpCommand(t, port, token, c.body); status != c.want || reply.OK != (c.want == http.StatusOK) {
			t.Errorf("%s: %d %+v, want %d", c.body, status, reply, c.want)
		}
	}
	if status, _ := httpCommand(t, port, "", `{"id":"h5","action":"acknowledge"}`); status != http.StatusUnauthorized {
		t.Errorf("without a token: %d", status)
	}
}

func runOnce(t *testing.T, program string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v: %s", program, args, err, out)
	}
	return string(out)
}

// addUsers names the users file in the configuration's http line.
func addUsers(t *testing.T, configuration string) {
	t.Helper()
	text, err := os.ReadFile(configuration)
	if err != nil {
		t.Fatal(err)
	}
	write(t, configuration, strings.Replace(string(text), "http: {listen", "http: {users: users, listen", 1))
}

// checkStoredEvents compares the journal with what a subscriber saw.
func checkStoredEvents(t *testing.T, port int, want []told) {
	t.Helper()
	_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d/api/v1/events?after=0", port))
	var stored []told
	if err := json.Unmarshal([]byte(body), &stored); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	if len(stored) < len(want) {
		t.Fatalf("%d events in the journal, %d were delivered", len(stored), len(want))
	}
	for i, e := range want {
		s := stored[i]
		if s.Seq != e.Seq || s.Kind != e.Kind || s.AlarmState != e.AlarmState || s.By != e.By || s.Message != e.Message {
			t.Errorf("journal %+v, delivered %+v", s, e)
		}
	}
}

// What happens while the broker is away arrives in order once it is back, the
// newest state of the alarms first.
func TestBacklogDrainsInOrder(t *testing.T) {
	dir, port := t.TempDir(), freePort(t)
	token := runOnce(t, weepd, "user", "token", "--file", filepath.Join(dir, "users"), "panel")
	token = token[strings.LastIndexAny(strings.TrimSpace(token), " \n")+1:]
	configuration, httpPort := station(t, dir, fmt.Sprintf("mqtt: {broker: \"tcp://127.0.0.1:%d\"}\n", port))
	addUsers(t, configuration)
	agent := launch(t, weepd, "run", "--config", configuration)
	agent.saysEventually(t, "started")
	const entries = 250
	for i := range entries {
		body := fmt.Sprintf(`{"id":"r%d","action":"record","gland":"p1-de","kind":"counted","value":{"drops":%d,"minutes":1}}`, i, i)
		if status, reply := httpCommand(t, httpPort, strings.TrimSpace(token), body); status == http.StatusTooManyRequests {
			time.Sleep(time.Second)
		} else if status != http.StatusOK {
			t.Fatalf("%s: %d %+v", body, status, reply)
		}
	}
	agent.signal(t, syscall.SIGKILL)
	_ = agent.wait(t, patience) // it was killed

	broker := mosquitto(t, dir, port, "allow_anonymous true\nmax_queued_messages 10000\n")
	sub := subscribe(t, broker, "-p", fmt.Sprint(port)) // before the agent is back, to see all
	launch(t, weepd, "run", "--config", configuration)
	eventually(t, "the backlog", func() bool {
		list := sub.on(t, "event")
		return len(list) > 0 && list[len(list)-1].Kind != "upkeep"
	})
	events := firstDeliveries(t, sub.on(t, "event"))
	records := 0
	for _, e := range events {
		if e.Kind == "upkeep" {
			records++
		}
	}
	if records < entries/2 {
		t.Errorf("%d upkeep entries arrived", records)
	}
	output := sub.output()
	if strings.Index(output, "/alarm/") > strings.Index(output, "/event ") {
		t.Error("the first event came before the first state of an alarm")
	}
}

// A station that takes signed commands only, signed as the documentation says.
func TestSignedCommand(t *testing.T) {
	dir, port := t.TempDir(), freePort(t)
	broker := mosquitto(t, dir, port, "allow_anonymous true\n")
	sub := subscribe(t, broker, "-p", fmt.Sprint(port))
	const key = "0123456789abcdef0123456789abcdef"
	write(t, filepath.Join(dir, "command.key"), key+"\n")
	configuration, _ := station(t, dir, fmt.Sprintf("mqtt: {broker: \"tcp://127.0.0.1:%d\", command_key_file: command.key}\n", port))
	launch(t, weepd, "run", "--config", configuration)
	eventually(t, "online", func() bool { return len(sub.on(t, "status")) > 0 })
	broker.saysEventually(t, "weepd/quarry/command")

	sign := func(lines ...string) string {
		mac := hmac.New(sha256.New, []byte(key))
		mac.Write([]byte(strings.Join(lines, "\n")))
		return hex.EncodeToString(mac.Sum(nil))
	}
	now := time.Now().UTC().Format(time.RFC3339)
	fields := `"action":"remove","gland":"p1-de","condition":"temp-sensor","by":"fitter"`
	if r := mqttCommand(t, port, sub, "s1", fields); r.OK || r.Reason != "signature" {
		t.Errorf("unsigned: %+v", r)
	}
	signature := sign("weepd-command-1", "quarry", "s2", now, "remove", "p1-de", "temp-sensor", "fitter", "", "", "", "")
	if r := mqttCommand(t, port, sub, "s2", fmt.Sprintf(`%s,"time":%q,"signature":%q`, fields, now, signature)); !r.OK {
		t.Errorf("signed: %+v", r)
	}
	if r := mqttCommand(t, port, sub, "s3", fmt.Sprintf(`%s,"time":%q,"signature":%q`, fields, now, signature)); r.OK || r.Reason != "signature" {
		t.Errorf("signature of another id: %+v", r)
	}
	eventually(t, "out of service", func() bool { return alarmNow(t, sub, "p1-de/temp-sensor").AlarmState == "out-of-service" })
}

// A damaged journal is set aside; the agent goes on and says so.
func TestDamagedStoreIsSetAside(t *testing.T) {
	dir := t.TempDir()
	configuration, httpPort := station(t, dir, "")
	first := launch(t, weepd, "run", "--config", configuration)
	eventually(t, "an alarm is stored", func() bool {
		_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d/api/v1/events", httpPort))
		return strings.Contains(body, `"seq": 1`)
	})
	first.signal(t, syscall.SIGTERM)
	if err := first.wait(t, patience); err != nil {
		t.Fatal(err)
	}
	journal := filepath.Join(dir, "weepd-data", "journal.db")
	text, err := os.ReadFile(journal)
	if err != nil {
		t.Fatal(err)
	}
	write(t, journal, string(bytes.Repeat([]byte("junk"), len(text)/4)))
	second := launch(t, weepd, "run", "--config", configuration)
	second.saysEventually(t, "journal.db was damaged")
	eventually(t, "page and event", func() bool {
		_, page := get(t, fmt.Sprintf("http://127.0.0.1:%d/", httpPort))
		_, events := get(t, fmt.Sprintf("http://127.0.0.1:%d/api/v1/events", httpPort))
		return strings.Contains(page, "set aside as journal.db.damaged-") && strings.Contains(events, `"kind": "store"`)
	})
	_, metrics := get(t, fmt.Sprintf("http://127.0.0.1:%d/metrics", httpPort))
	if !strings.Contains(metrics, "weepd_store_set_aside_total 1\n") || !strings.Contains(metrics, "weepd_store_failing 0\n") {
		t.Error("the metrics do not tell of the damage")
	}
}
