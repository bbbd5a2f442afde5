package page

import (
	"bufio"
	"context"
	"encoding/json"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules"
)

var streamOf = regexp.MustCompile(`data-live="([^"]+)"`)

// followed opens a page and its stream.
type followed struct {
	lines    *bufio.Scanner
	response *http.Response
}

func follow(t *testing.T, b *bench, path string) followed {
	t.Helper()
	_, _, body := b.get(t, path)
	found := streamOf.FindStringSubmatch(body)
	if found == nil {
		t.Fatal("the page names no stream")
	}
	return stream(t, b, html.UnescapeString(found[1]))
}

func stream(t *testing.T, b *bench, address string) followed {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, b.url+address, nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = response.Body.Close() })
	lines := bufio.NewScanner(response.Body)
	lines.Buffer(nil, 1<<20)
	return followed{lines, response}
}

func (f followed) next(t *testing.T) update {
	t.Helper()
	for f.lines.Scan() {
		text, found := strings.CutPrefix(f.lines.Text(), "data: ")
		if !found {
			continue
		}
		var u update
		if err := json.Unmarshal([]byte(text), &u); err != nil {
			t.Fatal(err)
		}
		return u
	}
	t.Fatal("the stream ended")
	return update{}
}

// show publishes a changed snapshot.
func (b *bench) show(change func(*agent.Snapshot)) {
	s := *b.board.Latest()
	s.Glands = append([]agent.Gland(nil), s.Glands...)
	s.Alarms = append([]agent.Alarm(nil), s.Alarms...)
	s.Time = s.Time.Add(time.Second)
	change(&s)
	b.board.latest.Store(&s)
	close(b.board.changed)
	b.board.changed = make(chan struct{})
}

func TestStreamSendsOnlyWhatThePageLacks(t *testing.T) {
	b := serve(t)
	defer b.stop()
	f := follow(t, b, "/")
	if u := f.next(t); len(u.Put) != 0 || len(u.Set) != 0 || len(u.List) != 0 || u.Title != "" || !u.Alive {
		t.Errorf("a page that was just made lacks %+v", u)
	}
	whole := stream(t, b, "/live?view=overview").next(t)
	if len(whole.Put) < 2*7 || len(whole.List["glands"]) != 3 || whole.Title == "" {
		t.Errorf("a browser that has nothing gets %+v", whole)
	}
}

func TestStreamFollows(t *testing.T) {
	b := serve(t, func(p *Parts) { p.Every = time.Millisecond })
	defer b.stop()
	f := follow(t, b, "/")
	f.next(t)
	time.Sleep(2 * time.Millisecond)
	b.show(func(s *agent.Snapshot) { s.Glands[0].State.Weep.DPM = 35 })
	u := f.next(t)
	if len(u.Put) != 0 || len(u.List) != 0 {
		t.Errorf("a new number puts %q, lists %q", u.Put, u.List)
	}
	set, _ := json.Marshal(u.Set)
	if want := `[["clock",0,"06:00:01"],["g-calm",0,"35",2,"translate(95.5 8)"]]`; string(set) != want {
		t.Errorf("set %s, want %s", set, want)
	}
	// An alarm goes out though the next reading is not due yet.
	b.show(func(s *agent.Snapshot) {
		s.Alarms[1].State, s.Alarms[1].AlarmState, s.Alarms[1].Since = agent.StateActive, "unacknowledged", &s.Time
	})
	u = f.next(t)
	if u.Loud != 1 || !strings.Contains(u.Title, "1 HIGH") || !strings.Contains(u.Icon, "loud.svg") {
		t.Errorf("title %q, icon %q, loud %d", u.Title, u.Icon, u.Loud)
	}
	if got := strings.Join(u.List["glands"], " "); got != "g-calm g-hot g-leaky" {
		t.Errorf("glands in order %s", got)
	}
	if got := u.List["alarms"]; len(got) != 3 || got[0] != "a-calm-dry" {
		t.Errorf("alarms %q", got)
	}
}

func TestStreamSpeaksThoughNothingHappens(t *testing.T) {
	b := serve(t)
	defer b.stop()
	f := follow(t, b, "/alarms")
	f.next(t)
	b.alive.Store(false)
	u := f.next(t) // nothing changes; the fake board says nothing more
	if u.Alive || !strings.Contains(strings.Join(u.Put, ""), "The agent stands still") {
		t.Errorf("an agent that stands still: %+v", u)
	}
}

func TestLivePieceIsForgottenWhenItGoes(t *testing.T) {
	b := serve(t, func(p *Parts) { p.Every = time.Millisecond })
	defer b.stop()
	f := follow(t, b, "/")
	f.next(t)
	turned := func(state string) func(s *agent.Snapshot) {
		return func(s *agent.Snapshot) { s.Alarms[int(rules.Conditions)+int(rules.Leaking)].State = state }
	}
	b.show(turned(agent.StateCleared))
	if u := f.next(t); len(u.List["alarms"]) != 1 {
		t.Fatalf("alarms %q", u.List["alarms"])
	}
	b.show(turned(agent.StateActive))
	if u := f.next(t); !strings.Contains(strings.Join(u.Put, " "), "a-leaky-leaking") {
		t.Errorf("an alarm that comes again is not put: %+v", u)
	}
}

func form(t *testing.T, b *bench, accept string, values url.Values) (*http.Response, string) {
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
	var body strings.Builder
	if _, err := bufio.NewReader(response.Body).WriteTo(&body); err != nil {
		t.Fatal(err)
	}
	return response, body.String()
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
	get := func(path string) *http.Response {
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
		return response
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
	body = body[strings.Index(body, "Cleared today"):]
	inOrder(t, body, "04:40:00", "enough again", "04:31:00", "30 min", "since 04:01:00", "B. Watch", "&lt;script&gt;")
	if strings.Contains(body, "yesterday") || strings.Count(body, "<tr>") != 3 {
		t.Errorf("cleared today:\n%s", body)
	}
}
