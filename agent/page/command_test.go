package page

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules"
)

func post(t *testing.T, b *bench, body string) (status int, reply string) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, b.url+"/api/v1/command", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/json")
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := response.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, strings.Join(strings.Fields(string(text)), " ")
}

func TestCommand(t *testing.T) {
	b := serve(t, func(p *Parts) {
		p.User = func(context.Context) string { return "operator" }
		p.Do = func(_ context.Context, c agent.Command) agent.Reply {
			switch c.Note {
			case "":
				return agent.Reply{OK: c.By == "operator"}
			default:
				return agent.Refuse(c.Note, "refused")
			}
		}
	})
	defer b.stop()
	for body, want := range map[string]struct {
		status int
		says   string
	}{
		`{"id":"c1","action":"acknowledge"}`:                 {200, `{ "ok": true }`},
		`{"id":"c1","action":"acknowledge","by":"operator"}`: {200, `{ "ok": true }`},
		`{"id":"c1","by":"somebody"}`:                        {403, `by is \"somebody\", but \"operator\" is logged in`},
		`{"id":"c1","note":"unknown-alarm"}`:                 {404, `"error": "refused"`},
		`{"id":"c1","note":"wrong-state"}`:                   {409, `"reason": "wrong-state"`},
		`{"id":"c1","note":"still-active"}`:                  {409, `"ok": false`},
		`{"id":"c1","note":"id-used"}`:                       {409, `"ok": false`},
		`{"id":"c1","note":"too-long"}`:                      {400, `"ok": false`},
		`{"id":"c1","note":"busy"}`:                          {503, `"ok": false`},
		`{"id":"c1","signature":"00"}`:                       {400, `belong to commands over MQTT`},
		`{"id":`:                                             {400, `ends too early`},
		`{"action":"acknowledge"}`:                           {400, `id is missing`},
		strings.Repeat(" ", 9000):                            {413, `want at most 4096`},
	} {
		if status, reply := post(t, b, body); status != want.status || !strings.Contains(reply, want.says) {
			t.Errorf("%.60s: %d %s, want %d %s", body, status, reply, want.status, want.says)
		}
	}
	if _, status, _ := b.get(t, "/api/v1/command"); status != http.StatusMethodNotAllowed {
		t.Errorf("GET: %d", status)
	}
}

func TestPageShowsLifeAndStore(t *testing.T) {
	b := serve(t)
	defer b.stop()
	s := testSnapshot()
	set := func(i int, state string, acked bool, by, note string) *agent.Alarm {
		a := &s.Alarms[i]
		a.AlarmState, a.Acknowledged, a.By, a.Note = state, acked, by, note
		return a
	}
	until := time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	set(0, "latched", true, "A. Fitter", "")
	set(1, "returned-unacknowledged", false, "", "")
	set(2, "shelved", false, "B. Watch", "<packing> ordered").Until = &until
	set(3, "out-of-service", false, "C. Smith", "")
	s.Alarms[rules.TempSensor].State, s.Alarms[rules.TempSensor].Cause = agent.StateActive, "shared.supply/drip-sensor"
	set(8, "acknowledged", true, "D. Night", "seen")
	set(13, "unacknowledged", false, "", "")
	s.Store = agent.Trouble{Problem: "the disk is full", Waiting: 3, Notices: []string{"journal.db was damaged"}}
	b.board.latest.Store(s)
	_, _, body := b.get(t, "/alarms")
	inOrder(t, body, "Events cannot be stored (the disk is full)", "3 wait", "journal.db was damaged",
		"Calm: dry", "gone again, not acknowledged", "Calm: burning", "gone again, held: reset it", "by A. Fitter",
		"Calm: gushing", "shelved until 14:00:00 by B. Watch", "the condition has gone", "&lt;packing&gt; ordered", "Calm: leaking", "out of service by C. Smith")
	if !strings.Contains(body, "in hand: D. Night") || !strings.Contains(body, "<q>seen</q>") {
		t.Error("the page does not say who has it in hand")
	}
	if strings.Contains(body, `id="a-calm-temp-sensor"`) {
		t.Error("an alarm that a shared cause stands for is on the list")
	}
	_, _, list := b.get(t, "/api/v1/alarms")
	for _, want := range []string{`"alarm_state": "shelved"`, `"until": "2026-03-01T14:00:00Z"`, `"by": "D. Night"`, `"cause": "shared.supply/drip-sensor"`} {
		if !strings.Contains(list, want) {
			t.Errorf("no %s in %s", want, list)
		}
	}
}
