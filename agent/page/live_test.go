package page

import (
	"bufio"
	"encoding/json"
	"html"
	"net/http"
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
	b.board.change()
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
