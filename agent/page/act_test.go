package page

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"weepd/agent"
)

// answered is what came back of a form.
type answered struct {
	StatusCode int
	Header     http.Header
}

func form(t *testing.T, b *bench, accept string, values url.Values) (a answered, body string) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, b.url+"/act", strings.NewReader(values.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	request.Header.Set("Accept", accept)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer client.CloseIdleConnections()
	defer func() { _ = response.Body.Close() }()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answered{response.StatusCode, response.Header}, string(text)
}

func TestFormsAreCommands(t *testing.T) {
	var got agent.Command
	answer, user := agent.Reply{OK: true}, "M. Weaver"
	b := serve(t, func(p *Parts) {
		p.CanLogIn, p.LongestShelf = true, 8*time.Hour
		p.User = func(context.Context) string { return user }
		p.Do = func(_ context.Context, c agent.Command) agent.Reply { got = c; return answer }
	})
	defer b.stop()
	values := url.Values{"id": {"page-1"}, "action": {"shelve"}, "gland": {"calm"}, "condition": {"dry"}, "for": {"2h0m0s"}, "note": {" why "}, "back": {"/alarms?q=x"}}
	response, _ := form(t, b, "text/html", values)
	if response.StatusCode != http.StatusSeeOther || response.Header.Get("Location") != "/alarms?done=shelve&q=x" {
		t.Errorf("%d to %s", response.StatusCode, response.Header.Get("Location"))
	}
	want := agent.Command{ID: "page-1", Action: "shelve", Gland: "calm", Condition: "dry", By: "M. Weaver", For: "2h0m0s", Note: "why"}
	if text, _ := json.Marshal(got); string(text) != string(mustJSON(t, want)) {
		t.Errorf("command %s", text)
	}
	if _, _, body := b.get(t, "/alarms?done=shelve"); !strings.Contains(body, "Shelved.") {
		t.Error("the page does not say what was done")
	}
	values.Set("back", "//evil.example/")
	if response, _ := form(t, b, "text/html", values); response.Header.Get("Location") != "/?done=shelve" {
		t.Errorf("leads to %s", response.Header.Get("Location"))
	}
	if response, body := form(t, b, "application/json", values); response.StatusCode != 200 || !strings.Contains(body, `"ok": true`) || response.Header.Get("X-Weepd-User") != "M.+Weaver" {
		t.Errorf("script: %d %s", response.StatusCode, body)
	}
	answer = agent.Refuse("wrong-state", "cannot %s", hostile)
	if response, body := form(t, b, "text/html", values); response.StatusCode != http.StatusConflict || !strings.Contains(body, "Not done") || strings.Contains(body, "<script>") {
		t.Errorf("refused: %d %s", response.StatusCode, body)
	}
	user = ""
	if response, body := form(t, b, "application/json", values); response.StatusCode != http.StatusForbidden || !strings.Contains(body, "log in first") {
		t.Errorf("nobody: %d %s", response.StatusCode, body)
	}
	user = "M. Weaver"
	for _, bad := range []url.Values{{"id": {"p1"}, "note": {strings.Repeat("x", 501)}}, {"action": {"acknowledge"}}, {"id": {"p1"}, "action": {"record"}, "tile": {"no such"}}} {
		if response, body := form(t, b, "application/json", bad); response.StatusCode != http.StatusBadRequest {
			t.Errorf("%v: %d %s", bad, response.StatusCode, body)
		}
	}
}

func mustJSON(t *testing.T, v any) []byte {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestRecordForms(t *testing.T) {
	var got agent.Command
	b := serve(t, func(p *Parts) {
		p.CanLogIn = true
		p.User = func(context.Context) string { return "M. Weaver" }
		p.Do = func(_ context.Context, c agent.Command) agent.Reply { got = c; return agent.Reply{OK: true} }
	})
	defer b.stop()
	for _, c := range []struct{ form, kind, value string }{
		{"tile=tightened&flats=1", "adjusted", `{"flats":1}`},
		{"tile=tightened&flats=0,5", "adjusted", `{"flats":0.5}`},
		{"tile=slackened&flats=2", "adjusted", `{"flats":-2}`},
		{"tile=counted&drops=30&minutes=1", "counted", `{"drops":30,"minutes":1}`},
		{"tile=sensor-cleaned", "sensor-cleaned", ""},
		{"tile=repacked", "repacked", ""},
		{"tile=repacked&rings=5&packing=graphite", "repacked", `{"packing":"graphite","rings":5}`},
		{"tile=sleeve-changed", "sleeve-changed", ""},
		{"tile=shaft-changed", "shaft-changed", ""},
		{"tile=flush-changed&bar=1.5", "flush-changed", `{"bar":1.5}`},
		{"tile=void&seq=7", "corrected", `{"seq":7,"void":true}`},
		{"tile=fix&seq=7&kind=counted&drops=31&minutes=1", "corrected", `{"seq":7,"value":{"drops":31,"minutes":1}}`},
		{"tile=confirm&seq=7&flats=-1", "adjusted", `{"flats":-1,"step":7}`},
	} {
		values, _ := url.ParseQuery(c.form)
		values.Set("id", "p1")
		values.Set("action", "record")
		values.Set("gland", "calm")
		if response, body := form(t, b, "application/json", values); response.StatusCode != 200 {
			t.Errorf("%s: %d %s", c.form, response.StatusCode, body)
		}
		if got.Kind != c.kind || string(got.Value) != c.value {
			t.Errorf("%s: %s %s, want %s %s", c.form, got.Kind, got.Value, c.kind, c.value)
		}
	}
	for _, bad := range []string{"tile=tightened", "tile=tightened&flats=0", "tile=tightened&flats=NaN", "tile=counted&drops=-1&minutes=1", "tile=counted&drops=1e9&minutes=1", "tile=void", "tile=void&seq=x", "tile=fix&seq=7&kind=repacked", "tile=confirm&flats=1", "tile=confirm&seq=7"} {
		values, _ := url.ParseQuery(bad)
		values.Set("id", "p1")
		values.Set("action", "record")
		if response, body := form(t, b, "application/json", values); response.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %d %s", bad, response.StatusCode, body)
		}
	}
}

func TestLogin(t *testing.T) {
	user := ""
	b := serve(t, func(p *Parts) { p.User = func(context.Context) string { return user } })
	defer b.stop()
	get := func(path string) answered {
		request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.url+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		defer client.CloseIdleConnections()
		response, err := client.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		_ = response.Body.Close()
		return answered{response.StatusCode, response.Header}
	}
	if r := get("/login?to=/alarms"); r.StatusCode != http.StatusUnauthorized || !strings.HasPrefix(r.Header.Get("WWW-Authenticate"), "Basic ") {
		t.Errorf("nobody: %d", r.StatusCode)
	}
	user = "A"
	for path, want := range map[string]string{"/login?to=/alarms": "/alarms", "/login?to=//evil.example": "/", "/login?to=/alarms&not=B": "/alarms"} {
		if r := get(path); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != want {
			t.Errorf("%s: %d to %s", path, r.StatusCode, r.Header.Get("Location"))
		}
	}
	if r := get("/login?to=/alarms&not=A"); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("another person: %d", r.StatusCode)
	}
}

func TestClearedToday(t *testing.T) {
	b := serve(t)
	defer b.stop()
	at := func(minute int) time.Time { return time.Date(2026, 3, 1, 4, minute, 0, 0, time.UTC) }
	b.journal.Commit(t.Context(), &agent.Batch{Events: []agent.Event{
		{Time: at(0).Add(-24 * time.Hour), Kind: agent.EventAlarm, Gland: "calm", Condition: "dry", State: agent.StateCleared, Message: "yesterday"},
		{Time: at(1), Kind: agent.EventAlarm, Gland: "calm", Condition: "leaking", State: agent.StateActive, AlarmState: "unacknowledged", Priority: "medium"},
		{Time: at(2), Kind: agent.EventAlarm, Gland: "calm", Condition: "leaking", State: agent.StateActive, AlarmState: "acknowledged", By: "B. Watch"},
		{Time: at(31), Kind: agent.EventAlarm, Gland: "calm", Condition: "leaking", State: agent.StateCleared, AlarmState: "normal", Priority: "medium", Message: hostile},
		{Time: at(40), Kind: agent.EventAlarm, Gland: "hot", Condition: "dry", State: agent.StateCleared, AlarmState: "returned-unacknowledged", Priority: "high", Message: "enough again"},
		{Time: at(41), Kind: agent.EventAlarm, Gland: "hot", Condition: "dry", State: agent.StateCleared, AlarmState: "normal", By: "B. Watch", Message: "Acknowledged by B. Watch."},
	}})
	_, _, body := b.get(t, "/alarms")
	_, body, _ = strings.Cut(body, "Cleared today")
	inOrder(t, body, "04:40:00", "enough again", "04:31:00", "30 min", "since 04:01:00", "B. Watch", "&lt;script&gt;")
	if strings.Contains(body, "yesterday") || strings.Count(body, "<tr>") != 3 {
		t.Errorf("cleared today:\n%s", body)
	}
}
