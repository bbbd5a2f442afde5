package weekly

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/agent"
)

var rewrite = flag.Bool("rewrite", false, "write the files of testdata anew")

// TestOrderOfTasks: what burns comes first, settings last; each gland has what
// it needs and no more.
func TestOrderOfTasks(t *testing.T) {
	q := request(t, "2026-W10", "settings", "unseen", "leaky", "sensor", "leak-alarm", "dry-before", "dry-now", "burning", "fine", "blind")
	delete(q.Drip, "blind")
	p := &fakePast{}
	for i, g := range q.Glands {
		id := g.Rules.ID
		if id != "settings" {
			q.Glands[i].Rules.DropML = 0.1
		}
		switch id {
		case "unseen", "blind":
		case "leaky":
			p.stretch(id+".dpm", q.Week.From, 24*60, 70)
			p.stretch(id+".dpm", q.Week.From.Add(24*time.Hour), 6*24*60, 30)
		default:
			p.stretch(id+".dpm", q.Week.From, 7*24*60, 30)
		}
	}
	at := q.Week.From.Add(time.Hour)
	p.alarm(at, "leak-alarm", "leaking", "active")
	p.alarm(at, "sensor", "temp-sensor", "active")
	p.alarm(at, "dry-before", "dry", "active")
	p.alarm(at.Add(time.Minute), "dry-before", "dry", "cleared")
	p.alarm(at, "dry-now", "dry", "active")
	p.alarm(at, "burning", "burning", "active")
	q.Advice = func(c string) string { return "how " + c }
	r := made(t, p, q)
	var got []string
	for _, task := range r.Tasks {
		got = append(got, task.Gland+": "+task.When)
	}
	want := []string{
		"burning: now", "dry-now: now", "leak-alarm: this week", "sensor: this week", "dry-before: this week",
		"leaky: this week", "unseen: this week", "blind: plan", "settings: plan",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	q.Now = q.Week.To.Add(30 * 24 * time.Hour)
	if old := made(t, p, q); old.Tasks[0].When != First || old.Tasks[2].When != ThisWeek {
		t.Errorf("of a week long over: %+v", old.Tasks[:3])
	}
	if len(r.How) != 5 || r.How[0] != (How{"burning", "how burning"}) {
		t.Errorf("%+v", r.How)
	}
}

// TestUpkeepState: where the upkeep's state is known its words and outlook are
// in the report.
func TestUpkeepState(t *testing.T) {
	q := request(t, "2026-W10", "a")
	at := q.Week.From.Add(time.Hour)
	q.State = map[string]*agent.UpkeepState{"a": {
		Entries: []agent.UpkeepEntry{
			{Seq: 1, Time: at, Kind: "adjusted", By: "M. Weaver", Words: "One flat.", Note: "both nuts"},
			{Seq: 2, Time: at, Kind: "adjusted", Void: true, Words: "taken back"},
			{Seq: 3, Time: q.Week.From.Add(-time.Hour), Kind: "adjusted", Words: "before"},
		},
		Adjustments: []agent.UpkeepAdjustment{
			{Seq: 1, Time: at, Recorded: true, Words: "It worked."},
			{Seq: 9, Time: at.Add(time.Hour), Words: "A step that nobody recorded."},
		},
		Offers:         []agent.UpkeepOffer{{Seq: 9, Words: "60 to 30 drops/min"}},
		Repack:         agent.UpkeepForecast{Known: true, Now: true, Range: "now", Words: []string{"no travel is left"}},
		NextAdjustment: agent.UpkeepForecast{Known: true, Range: "3 May to 20 May 2026", Words: []string{"it grows"}},
	}}
	r := made(t, &fakePast{upkeep: []agent.Upkeep{{Gland: "a", Time: at, By: "x", Entry: agent.Entry{Kind: "adjusted"}}}}, q)
	if got, want := r.Glands[0].Work, []Work{
		{at, "adjusted", "M. Weaver", "It worked.; both nuts"}, {at.Add(time.Hour), "adjusted?", "", "A step that nobody recorded."},
	}; !slices.Equal(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	var what []string
	for _, task := range r.Tasks {
		what = append(what, task.What)
	}
	if got := strings.Join(what, "|"); !strings.HasPrefix(got, "Repacking due now|Next adjustment due 3 May to 20 May 2026|") || !strings.Contains(got, "Say whether it was adjusted") {
		t.Errorf("%s", got)
	}
}

// TestPagesOfAWeek holds HTML and CSV of one week to testdata.
func TestPagesOfAWeek(t *testing.T) {
	q := request(t, "2026-W13", "p1-de", "p1-nde", "p2-de", "p2-nde")
	q.Glands[0].Name, q.Price, q.Unit = "Pump 1, drive end <lower>", 2.15, "EUR"
	q.Glands[1].Name, q.Glands[1].Rules.DropML = "=cmd", 0.07
	delete(q.Drip, "p2-nde")
	q.Advice = func(c string) string { return "What to do about " + c + "." }
	p := &fakePast{}
	from := q.Week.From
	p.stretch("p1-de.dpm", from, 167*60, 30)
	p.stretch("p1-de.rise", from, 60, 11.5)
	p.stretch("p1-nde.dpm", from, 100*60, 40)
	p.stretch("p1-nde.dpm", from.Add(100*time.Hour), 40*60, 75)
	p.stretch("p1-nde.dpm", from.Add(140*time.Hour), 27*60, 33)
	p.stretch("p2-de.dpm", from, 30*60, 28)
	p.stretch("p2-de.dpm", from.Add(30*time.Hour), 3*60, 4)
	p.alarm(from.Add(101*time.Hour), "p1-nde", "leaking", "active")
	p.alarm(from.Add(141*time.Hour), "p1-nde", "leaking", "cleared")
	p.alarm(from.Add(31*time.Hour), "p2-de", "dry", "active")
	down, up := from.Add(50*time.Hour), from.Add(52*time.Hour)
	p.event(agent.Event{Time: up, Kind: agent.EventDown, From: &down, To: &up})
	p.upkeep = []agent.Upkeep{
		{Gland: "p1-nde", Time: from.Add(140 * time.Hour), By: "M. Weaver", Note: "both nuts, warm hands", Entry: agent.Entry{Kind: "adjusted", Value: json.RawMessage(`{"flats":1,"hot":false}`)}},
		{Gland: "p1-nde", Time: from.Add(-time.Hour), Entry: agent.Entry{Kind: "repacked"}},
	}
	r := made(t, p, q)
	var page, table strings.Builder
	if err := errors.Join(r.HTML(&page), r.CSV(&table)); err != nil {
		t.Fatal(err)
	}
	match(t, "testdata/week.html", page.String())
	match(t, "testdata/week.csv", table.String())
	for _, bad := range []string{"<script", "http:", "https:", "src=", "url(", "@import", "<lower>"} {
		if strings.Contains(page.String(), bad) {
			t.Errorf("the page has %q", bad)
		}
	}
	rows, err := csv.NewReader(strings.NewReader(table.String())).ReadAll()
	if err != nil || len(rows) != 5 || len(rows[1]) != len(columns) || rows[2][4] != "'=cmd" {
		t.Errorf("%v %q", err, rows)
	}
}

func match(t *testing.T, path, got string) {
	t.Helper()
	if *rewrite {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (-rewrite takes the new text over):\n%s", path, got)
	}
}

func TestPastThatFails(t *testing.T) {
	broken := errors.New("disk")
	if _, err := Make(t.Context(), &fakePast{fail: broken}, request(t, "2026-W10", "a")); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}
