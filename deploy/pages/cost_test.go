//go:build integration

package pages

import (
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/memory"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"

	"weepd/agent"
	"weepd/agent/page"
	"weepd/rules"
)

// What a first look at 32 glands may cost.
const (
	firstBytes = 60_000
	firstTrips = 3 // fewer: the document, then what it names at once
)

func TestFirstLookAtAStation(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(32), 2)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	eventually(t, "two alarms", func() bool {
		_, body := get(t, base+"/api/v1/alarms")
		return strings.Count(body, `"leaking"`) == 2
	})
	p := open(t, browser(t), base)
	p.visit("/")
	p.live()
	// What was asked for only after what the document names had come.
	trips := eval[int](p, `(() => {
	  const page = performance.getEntriesByType('navigation')[0], first = page.responseEnd;
	  const files = performance.getEntriesByType('resource').filter(r => r.startTime < page.domContentLoadedEventStart);
	  let trips = 1, end = first;
	  for (const f of files.sort((a, b) => a.startTime - b.startTime)) {
	    if (trips === 1 || f.startTime > end) { trips++; end = f.responseEnd; }
	  }
	  return trips;
	})()`)
	p.mu.Lock()
	bytes, requests := p.bytes, p.requests
	p.mu.Unlock()
	t.Logf("32 glands: %.0f bytes over the wire with headers, %d requests, ready in %d round trips", bytes, len(requests), trips)
	if bytes > firstBytes || bytes < 1000 {
		t.Errorf("%.0f bytes, want less than %d", bytes, firstBytes)
	}
	if trips >= firstTrips {
		t.Errorf("%d round trips one after the other, want fewer than %d", trips, firstTrips)
	}
	if n := eval[int](p, "document.querySelectorAll('#glands > [role=row]').length"); n != 32 {
		t.Errorf("%d rows, want 32", n)
	}
	p.clean()
}

// mostScript is what an update of 500 glands may cost the browser, as processor
// time of its script.
const mostScript = 50 * time.Millisecond

func TestFiveHundredGlands(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(500), 50)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.do(chromedp.EmulateViewport(1920, 1080))
	p.visit("/")
	p.live()
	eventually(t, "50 alarms", func() bool { return p.holds(`document.querySelector('#counts .count')?.textContent === '50'`) })
	if got := eval[[]int](p, `[document.querySelectorAll('#glands > [role=row]').length, document.querySelectorAll('#glands > .medium').length, [...document.querySelectorAll('#glands > [role=row]')].findLastIndex(r => r.classList.contains('medium'))]`); !slices.Equal(got, []int{500, 50, 49}) {
		t.Errorf("rows, leaking ones, and the place of the last of these: %v", got)
	}
	updates := p.traced(10 * time.Second)
	slices.Sort(updates)
	if len(updates) < 4 {
		t.Fatalf("%d updates traced", len(updates))
	}
	t.Logf("500 glands: %d updates, script of one: median %s, longest %s", len(updates), updates[len(updates)/2], updates[len(updates)-1])
	if updates[len(updates)/2] > mostScript {
		t.Errorf("an update takes %s of script, want less than %s", updates[len(updates)/2], mostScript)
	}
	p.picture(shots + "/many-desktop-light.png")
	p.visit("/alarms")
	p.live()
	if n := eval[int](p, "document.querySelectorAll('#alarms > li').length"); n != 50 {
		t.Errorf("%d alarms on the list, want 50", n)
	}
	p.visit("/?q=Pump+17,")
	p.live()
	if n := eval[int](p, "document.querySelectorAll('#glands > [role=row]').length"); n != 2 {
		t.Errorf("%d glands of pump 17, want 2", n)
	}
	p.clean()
}

// traced records the browser's own trace and gives the processor time of each
// update's script.
func (p *tab) traced(span time.Duration) []time.Duration {
	p.t.Helper()
	type event struct {
		Name string
		Dur  float64 // µs
		Tdur float64 // µs of processor time
		Args struct{ Data struct{ FunctionName string } }
	}
	var mu sync.Mutex
	var list []time.Duration
	complete := make(chan struct{})
	err := chromedp.Listen(p.ctx, func(e any) {
		switch e := e.(type) {
		case *tracing.EventDataCollected:
			mu.Lock()
			defer mu.Unlock()
			for _, raw := range e.Value {
				var one event
				if json.Unmarshal(raw, &one) == nil && one.Name == "FunctionCall" && one.Args.Data.FunctionName == "source.onmessage" {
					cost := one.Tdur
					if cost == 0 {
						cost = one.Dur
					}
					list = append(list, time.Duration(cost*float64(time.Microsecond)))
				}
			}
		case *tracing.EventTracingComplete:
			close(complete)
		}
	})
	if err != nil {
		p.t.Fatal(err)
	}
	if _, err := chromedp.Call(p.ctx, tracing.Start, tracing.StartParams{
		TransferMode: tracing.StartTransferModeReportEvents, TraceConfig: &tracing.TraceConfig{IncludedCategories: []string{"devtools.timeline"}},
	}); err != nil {
		p.t.Fatal(err)
	}
	time.Sleep(span)
	if _, err := chromedp.Call(p.ctx, tracing.End, cdp.Empty{}); err != nil {
		p.t.Fatal(err)
	}
	select {
	case <-complete:
	case <-time.After(patience):
		p.t.Fatal("the trace does not end")
	}
	mu.Lock()
	defer mu.Unlock()
	return slices.Clone(list)
}

// A day's updates, one for each second, in as short a time as the browser takes
// them: neither its memory nor its document grows.
const dayUpdates = 24 * 60 * 60

func TestADayOnThePage(t *testing.T) {
	board := newDay()
	server, err := page.Listen(t.Context(), "127.0.0.1:0", page.Parts{
		Board: board, Journal: agent.NewMemoryJournal(10, false), Alive: func() bool { return true }, Metrics: http.NotFoundHandler(),
		Log: slog.New(slog.DiscardHandler), Every: time.Nanosecond,
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx) }()
	defer func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	p := open(t, browser(t), "http://"+server.Addr())
	p.visit("/")
	p.live()
	p.do(script(`window.updates = 0; { const parse = JSON.parse; JSON.parse = text => { window.updates++; return parse(text); }; }`))
	begin := time.Now()
	run := func(updates int) {
		for p.t.Context().Err() == nil {
			board.next(50)
			if eval[int](p, "window.updates") >= updates {
				return
			}
			if time.Since(begin) > 4*time.Minute {
				t.Fatalf("%d updates of %d in %s", eval[int](p, "window.updates"), updates, time.Since(begin))
			}
		}
	}
	run(dayUpdates / 8)
	early := p.memory()
	run(dayUpdates)
	late := p.memory()
	t.Logf("a day: %d updates in %s; after an eighth %+v, at its end %+v", dayUpdates, time.Since(begin).Round(time.Second), early, late)
	if late.Heap > early.Heap+1<<20 || late.Nodes > early.Nodes+100 || late.Listeners > early.Listeners {
		t.Errorf("grown from %+v to %+v", early, late)
	}
	p.clean()
}

type use struct{ Heap, Nodes, Listeners int64 }

// memory gives what the page holds after its garbage is collected.
func (p *tab) memory() use {
	p.t.Helper()
	for range 2 {
		p.call(func() error { _, err := chromedp.Call(p.ctx, heapprofiler.CollectGarbage, cdp.Empty{}); return err })
	}
	heap, err := chromedp.Call(p.ctx, runtime.GetHeapUsage, cdp.Empty{})
	if err != nil {
		p.t.Fatal(err)
	}
	dom, err := chromedp.Call(p.ctx, memory.GetDOMCounters, cdp.Empty{})
	if err != nil {
		p.t.Fatal(err)
	}
	return use{int64(heap.UsedSize), dom.Nodes, dom.JsEventListeners}
}

// day is a board of two glands whose weep moves, with an alarm that comes and
// goes.
type day struct {
	mu      sync.Mutex
	latest  *agent.Snapshot
	changed chan struct{}
	second  int
}

func newDay() *day {
	d := &day{changed: make(chan struct{})}
	d.next(1)
	return d
}

func (d *day) Latest() *agent.Snapshot  { d.mu.Lock(); defer d.mu.Unlock(); return d.latest }
func (d *day) Changed() <-chan struct{} { d.mu.Lock(); defer d.mu.Unlock(); return d.changed }

// next lets time pass, with a pause between seconds that lets a stream take each.
func (d *day) next(seconds int) {
	for range seconds {
		d.mu.Lock()
		d.second++
		d.latest = d.snapshot()
		close(d.changed)
		d.changed = make(chan struct{})
		d.mu.Unlock()
		time.Sleep(100 * time.Microsecond)
	}
}

func (d *day) snapshot() *agent.Snapshot {
	s := &agent.Snapshot{Station: "quarry", Time: time.Now(), Seq: uint64(d.second / 600)}
	for i := range 2 {
		id := string(rune('a' + i))
		known := func(v float64) rules.Quantity { return rules.Quantity{Value: v, Known: true} }
		weep := 40 + float64((d.second*(i+1))%23)
		g := agent.Gland{GlandInfo: agent.GlandInfo{Name: "Gland " + id, Rules: rules.GlandConfig{
			ID: id, Fitted: rules.Fitted{true, true, true, true}, Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25},
		}}, State: rules.GlandState{Weep: rules.Weep{DPM: weep, LowDPM: weep - 4, HighDPM: weep + 5, Known: true}, RiseC: known(9 + float64(d.second%10)/10), Running: known(1)}}
		for k := range g.Points {
			g.Points[k] = agent.PointState{Seen: true}
		}
		s.Glands = append(s.Glands, g)
		a := agent.Alarm{Gland: id, Condition: "leaking", Priority: "medium", State: agent.StateCleared}
		if i == 0 && d.second/600%2 == 1 {
			a.State, a.AlarmState = agent.StateActive, "unacknowledged"
		}
		s.Alarms = append(s.Alarms, a)
	}
	return s
}
