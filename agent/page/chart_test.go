package page

import (
	"context"
	"encoding/xml"
	"errors"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/agent"
)

// fakeHistory has values each minute from a time on.
type fakeHistory struct {
	from time.Time
	to   time.Time
	gap  time.Time // and none in the ten minutes after this
}

func (h fakeHistory) Samples(_ context.Context, series string, from, to time.Time, most int) ([]agent.Sample, time.Duration, error) {
	step := stepOf(to.Sub(from))
	if most > chartSteps+1 {
		step = time.Minute
	}
	var list []agent.Sample
	base, isRest := map[string]float64{agent.SeriesDPM: 30, agent.SeriesDPM95: 30, agent.SeriesRise: 9, agent.SeriesTemp: 25}[series[strings.LastIndex(series, ".")+1:]], strings.HasSuffix(series, ".rest")
	for at := from.Truncate(step); at.Before(to); at = at.Add(step) {
		inGap := !at.Before(h.gap) && at.Before(h.gap.Add(10*time.Minute))
		if at.Before(h.from) || !at.Before(h.to) || inGap != isRest {
			continue
		}
		list = append(list, agent.Sample{Start: at, Min: base - 5, Mean: base, Max: base + 7})
	}
	return list, step, nil
}

func charted(t *testing.T) *bench {
	t.Helper()
	at := testSnapshot().Time
	return serve(t, func(p *Parts) {
		p.History = fakeHistory{at.Add(-48 * time.Hour), at, at.Add(-30 * time.Minute)}
		p.CanLogIn, p.Do = true, func(context.Context, agent.Command) agent.Reply { return agent.Reply{} }
	})
}

var chartOf = regexp.MustCompile(`(?s)<svg class="chart (\w+)".*?</svg>`)

func TestGlandViewHasItsCharts(t *testing.T) {
	b := charted(t)
	defer b.stop()
	at := testSnapshot().Time
	b.journal.Commit(t.Context(), &agent.Batch{Events: []agent.Event{
		{Time: at.Add(-50 * time.Minute), Kind: agent.EventAlarm, Gland: "calm", Condition: "dry", State: agent.StateActive, Was: "normal", Priority: "high"},
		{Time: at.Add(-40 * time.Minute), Kind: agent.EventAlarm, Gland: "calm", Condition: "dry", State: agent.StateCleared, Was: "unacknowledged", Priority: "high"},
	}})
	b.show(func(s *agent.Snapshot) {
		s.Time = at
		s.Glands[0].Upkeep = &agent.UpkeepState{Words: "all is well " + hostile, Entries: []agent.UpkeepEntry{
			{Seq: 6, Time: at.Add(-25 * time.Minute), Kind: "repacked", By: "B", Words: "repacked", Void: true},
			{Seq: 7, Time: at.Add(-20 * time.Minute), Kind: "adjusted", Value: []byte(`{"flats":1.5}`), By: hostile, Note: hostile, Words: "tightened by 1.5 flats"},
			{Seq: 8, Time: at.Add(-10 * time.Minute), Kind: "sensor-cleaned", By: "B", Words: hostile},
		}, Offers: []agent.UpkeepOffer{{Seq: 9, BeforeDPM: 30, AfterDPM: 60, Words: "rose " + hostile}}, Repack: agent.UpkeepForecast{Range: "3 May to 20 May 2026"}}
	})
	_, status, body := b.get(t, "/gland/calm")
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	found := chartOf.FindAllStringSubmatch(body, -1)
	if len(found) != 4 {
		t.Fatalf("%d charts, want two, each for a screen and a phone", len(found))
	}
	for _, one := range found {
		if err := xml.Unmarshal([]byte(one[0]), new(struct{})); err != nil {
			t.Errorf("chart: %v", err)
		}
	}
	weep := found[0][0]
	for part, want := range map[string]int{
		`class="mean"`: 2, `class="sure"`: 2, `class="limit dry"`: 1, `class="limit leak"`: 1, `class="span high"`: 1, `class="span rest"`: 1,
		`class="work"`: 2, `class="letter"`: 3, "style=": 0, "<script": 0, "NaN": 0,
	} {
		if n := strings.Count(weep, part); n != want {
			t.Errorf("%d times %s in the chart, want %d", n, part, want)
		}
	}
	inOrder(t, weep, `aria-label="Weep from 2026-03-01 05:01–2026-03-01 06:01 UTC: 25 to 37`, "allowed 15 to 60", "05:01")
	body = strings.ReplaceAll(body, "\n", " ")
	inOrder(t, body, "Alarms and work in this time", "<b>A</b>", "dry", "<b>B</b>", "tightened by 1.5 flats", "<b>C</b>",
		"all is well &lt;script&gt;", "rose &lt;script&gt;", `value="confirm"`, `value="9"`, `value="-1"`, "3 May to 20 May 2026",
		"Work recorded", "&lt;script&gt;", `value="fix"`, `value="7"`, `value="adjusted"`, `value="1.5"`, "taken back")
	if strings.Contains(body, "<script>alert") || strings.Contains(body, " style=") {
		t.Error("a hostile text is not text")
	}
}

// An alarm's stretch lies where its times are on the library's own axis.
func TestMarksLieOnTheAxis(t *testing.T) {
	from := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	w := window{From: from, To: from.Add(time.Hour), Step: time.Minute}
	mean := blank(w)
	for i := range mean {
		mean[i] = 30
	}
	d := drawing{
		size: sizes[0], window: w, zone: time.UTC, mean: mean, to: 100, limits: []limit{{50, "leak"}},
		marks: []mark{{From: from.Add(15 * time.Minute), To: from.Add(45 * time.Minute), Class: high, Letter: "A"}},
	}
	picture, axis, err := d.draw(8)
	if err != nil {
		t.Fatal(err)
	}
	c := regexp.MustCompile(`class="mean"|d="M ([0-9.]+) [0-9.]+ L[^"]* L ([0-9.]+) [0-9.]+" class="mean"`).FindStringSubmatch(string(picture))
	r := regexp.MustCompile(`<rect class="span high" x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"`).FindStringSubmatch(string(picture))
	if c == nil || r == nil {
		t.Fatalf("no line or no stretch in\n%s", picture)
	}
	left, right, x, wide := float(c[1]), float(c[2]), float(r[1]), float(r[2])
	if int(left) != axis || math.Abs(x-(left+(right-left)/4)) > 1 || math.Abs(wide-(right-left)/2) > 1 {
		t.Errorf("line %g to %g, axis %d, stretch at %g, %g wide; want its middle half", left, right, axis, x, wide)
	}
}

func TestColumnStandsInLine(t *testing.T) {
	w := window{From: time.Unix(0, 0), To: time.Unix(3600, 0), Step: time.Minute}
	mean := blank(w)
	mean[3], mean[4] = 1, 2
	a := drawing{size: sizes[0], window: w, zone: time.UTC, mean: mean, to: 100000}
	b := a
	b.to = 8
	up, low, err := column(a, b)
	if err != nil {
		t.Fatal(err)
	}
	axis := regexp.MustCompile(`d="M ([0-9]+) [0-9]+ L [0-9]+ [0-9]+" class="axis"`)
	x, y := axis.FindStringSubmatch(string(up)), axis.FindStringSubmatch(string(low))
	if x == nil || y == nil || x[1] != y[1] {
		t.Errorf("axes begin at %v and %v", x, y)
	}
}

// What the library draws is taken for what it was when this was written.
func TestADifferentDrawingIsAnError(t *testing.T) {
	d := drawing{size: sizes[0]}
	for _, svg := range []string{
		"", "<svg ></svg>", `<svg x="1"><path d="M 1 1" style="stroke:rgb(99,0,0)"/></svg>`, `<svg x="1"><circle style="fill:red"/></svg>`,
	} {
		if _, _, err := d.dress(svg); !errors.Is(err, errDrawing) {
			t.Errorf("%q: %v", svg, err)
		}
	}
}

func TestWindows(t *testing.T) {
	now := time.Date(2026, 3, 1, 6, 2, 30, 0, time.UTC)
	for query, want := range map[string]string{
		"":         "2026-03-01T05:03:00Z 2026-03-01T06:03:00Z 1m0s 61",
		"span=24h": "2026-02-28T06:05:00Z 2026-03-01T06:05:00Z 5m0s 289",
		"span=7d":  "2026-02-22T07:00:00Z 2026-03-01T07:00:00Z 1h0m0s 169",
		"span=90d": "2025-12-01T12:00:00Z 2026-03-01T12:00:00Z 6h0m0s 361",
		"from=2026-02-01T00:00:00Z&to=2026-02-01T12:00:00Z":        "2026-02-01T00:00:00Z 2026-02-01T12:00:00Z 5m0s 145",
		"from=2026-02-01T01:00:00%2B01:00&to=2026-02-01T00:10:00Z": "2026-02-01T00:00:00Z 2026-02-01T00:10:00Z 1m0s 11",
		"span=1y":                        "error",
		"from=2026-02-01T00:00:00Z":      "error",
		"from=2026-02-01T00:00:00Z&to=x": "error",
		"from=2026-02-01T00:00:00Z&to=2026-02-01T00:05:00Z": "error",
		"from=2016-02-01T00:00:00Z&to=2026-02-01T00:05:00Z": "error",
	} {
		values, err := url.ParseQuery(query)
		if err != nil {
			t.Fatal(err)
		}
		w, err := windowOf(values, now)
		got := "error"
		if err == nil {
			got = strings.Join([]string{w.From.UTC().Format(time.RFC3339), w.To.UTC().Format(time.RFC3339), w.Step.String(), short(float64(w.points()))}, " ")
		}
		if got != want {
			t.Errorf("%s: %s, want %s", query, got, want)
		}
	}
}

func TestZoomLinksLeadToWindows(t *testing.T) {
	b := charted(t)
	defer b.stop()
	_, _, body := b.get(t, "/gland/calm?span=24h")
	links := regexp.MustCompile(`href="(/gland/calm\?[^"]+)"`).FindAllStringSubmatch(body, -1)
	if len(links) < 14 {
		t.Fatalf("%d links", len(links))
	}
	for _, l := range links {
		address := strings.ReplaceAll(l[1], "&amp;", "&")
		if _, status, _ := b.get(t, address); status != http.StatusOK {
			t.Errorf("%s: %d", address, status)
		}
	}
	if _, status, body := b.get(t, "/gland/calm?span=<b>"); status != http.StatusBadRequest || strings.Contains(body, "<b>") {
		t.Errorf("a wrong window: %d", status)
	}
	if _, status, _ := b.get(t, "/gland/none"); status != http.StatusNotFound {
		t.Errorf("no such gland: %d", status)
	}
}

func TestCSV(t *testing.T) {
	b := charted(t)
	defer b.stop()
	head, _, body := b.get(t, "/gland/calm/data.csv?from=2026-02-28T00:00:00Z&to=2026-03-01T06:00:00Z")
	if got := head.Get("Content-Disposition"); got != `attachment; filename="calm-20260228T0000Z.csv"` {
		t.Errorf("name %s", got)
	}
	rows := strings.Split(strings.TrimSpace(body), "\r\n")
	if len(rows) != 1+30*60 || rows[0] != "time,dpm,dpm_low,dpm_high,rise_c,temp_c,rest" {
		t.Fatalf("%d rows, first %s", len(rows), rows[0])
	}
	if rows[1] != "2026-02-28T00:00:00Z,30.00,25.00,37.00,9.00,25.00," || rows[len(rows)-30] != "2026-03-01T05:30:00Z,,,,,,0.00" {
		t.Errorf("rows %s and %s", rows[1], rows[len(rows)-30])
	}
	if _, status, _ := b.get(t, "/gland/none/data.csv"); status != http.StatusNotFound {
		t.Errorf("no such gland: %d", status)
	}
	if _, status, _ := b.get(t, "/gland/calm/data.csv?span=x"); status != http.StatusBadRequest {
		t.Errorf("no such span: %d", status)
	}
}

func TestNoHistoryIsSaid(t *testing.T) {
	b := serve(t)
	defer b.stop()
	if _, _, body := b.get(t, "/gland/calm"); !strings.Contains(body, "Nothing was measured in this time") {
		t.Error("the view does not say that there is nothing")
	}
}

func TestTrend(t *testing.T) {
	at := testSnapshot().Time
	board := &fakeBoard{}
	board.latest.Store(testSnapshot())
	tr := newTrends(Parts{Board: board, History: fakeHistory{at.Add(-time.Hour), at, at.Add(-30 * time.Minute)}})
	if !tr.read(t.Context()) || tr.version() != 1 {
		t.Fatal("no trend")
	}
	path := tr.of("calm")
	if !strings.HasPrefix(path, "M59 ") || strings.Count(path, "M") != 2 {
		t.Errorf("path %s, want twelve steps from the 59th on, with a gap", path)
	}
}

// Hours of every gland are not read again and again for nobody.
func TestTrendIsReadWhenSomebodyLooks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		at := testSnapshot().Time
		board := &fakeBoard{}
		board.latest.Store(testSnapshot())
		tr := newTrends(Parts{Board: board, History: fakeHistory{at.Add(-time.Hour), at, at.Add(-30 * time.Minute)}})
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go tr.run(ctx)
		time.Sleep(time.Hour)
		if got := tr.version(); got != 0 {
			t.Errorf("read %d times", got)
		}
		close(tr.asked)
		synctest.Wait()
		if got := tr.version(); got != 1 {
			t.Errorf("read %d times at the first look, want 1", got)
		}
		time.Sleep(trendStep + time.Second)
		if got := tr.version(); got != 6 {
			t.Errorf("read %d times in %s, want 6", got, trendStep)
		}
	})
}
