package agent

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

var (
	dripA = reading.Point{Gland: "a", Kind: reading.Drip}
	tempA = reading.Point{Gland: "a", Kind: reading.Temp}
)

// recordingCore notes what it is fed; a reading of value 666 makes `dry`
// active, one of 667 clears it.
type recordingCore struct {
	mu       sync.Mutex
	fed      []reading.Reading
	now      time.Duration
	dry      bool
	calm     bool
	repacked map[string]time.Duration

	configured []rules.Config
	lives      map[string]*upkeep.Life
	fresh      []rules.Fresh
	drawn      []upkeep.RunInPoint
	t          *testing.T
}

func (c *recordingCore) Feed(r reading.Reading) ([]rules.Transition, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r.At < c.now {
		c.t.Errorf("fed %s after %s", r.At, c.now)
	}
	c.now = r.At
	c.fed = append(c.fed, r)
	if r.Value == 666 || r.Value == 667 {
		c.dry = r.Value == 666
		return []rules.Transition{{
			At: r.At, Gland: "a", Condition: rules.Dry, Active: c.dry, Priority: rules.High, Message: "It is dry.",
			Weep: rules.Weep{DPM: 3, Known: true},
		}}, nil
	}
	return nil, nil
}

func (c *recordingCore) Advance(at time.Duration) []rules.Transition {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = max(c.now, at)
	return nil
}

// RunIn notes when which gland was repacked.
func (c *recordingCore) RunIn(gland string, repacked time.Duration) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.repacked == nil {
		c.repacked = make(map[string]time.Duration)
	}
	c.repacked[gland] = repacked
	return nil
}

// Reconfigure notes the configuration.
func (c *recordingCore) Reconfigure(_ time.Duration, cfg rules.Config) ([]rules.Transition, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.configured = append(c.configured, cfg)
	return nil, nil
}

// life is the real upkeep of a gland.
func (c *recordingCore) life(gland string) *upkeep.Life {
	if c.lives == nil {
		c.lives = make(map[string]*upkeep.Life)
	}
	if c.lives[gland] == nil {
		c.lives[gland] = upkeep.NewLife(upkeep.Config{NormalDPM: 30, DryDPM: 15, LeakDPM: 60})
	}
	return c.lives[gland]
}

func (c *recordingCore) Record(gland string, e upkeep.Entry) ([]rules.Transition, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.life(gland).Record(e)
	return nil, nil
}

func (c *recordingCore) Restore(gland string, entries []upkeep.Entry, weeps []upkeep.Bucket) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, e := range entries {
		c.life(gland).Record(e)
	}
	for _, b := range weeps {
		c.life(gland).Observe(b, 1)
	}
	return nil
}

func (c *recordingCore) Upkeep(gland string) (*upkeep.State, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.life(gland).Assess(c.now), true
}

func (c *recordingCore) Entry(gland string, seq uint64) (upkeep.Entry, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.life(gland).Find(seq)
}

// DrawRunIn notes how much of a curve came back.
func (c *recordingCore) DrawRunIn(_ string, past []upkeep.RunInPoint) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.drawn = append(c.drawn, past...)
}

func (c *recordingCore) NumberStep(gland string, at time.Duration, seq uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.life(gland).Number(at, seq)
}

// TakeFresh gives what a test has put there.
func (c *recordingCore) TakeFresh() []rules.Fresh {
	c.mu.Lock()
	defer c.mu.Unlock()
	fresh := c.fresh
	c.fresh = nil
	return fresh
}

func (c *recordingCore) Next() (time.Duration, bool) { return 0, false }

// Calm is what a test has put there.
func (c *recordingCore) Calm() (time.Duration, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return never, c.calm
}

func (c *recordingCore) Gland(id string) (rules.GlandState, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	g := rules.GlandState{ID: id}
	if c.dry && id == "a" {
		g.Alarms = []rules.Alarm{{Condition: rules.Dry, Priority: rules.High}}
	}
	return g, true
}

func (c *recordingCore) values(p reading.Point) (out []float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.fed {
		if r.Point == p && r.Quality.OK() {
			out = append(out, r.Value)
		}
	}
	return out
}

func (c *recordingCore) noAnswers(p reading.Point) (n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.fed {
		if r.Point == p && r.Quality == reading.NoAnswer {
			n++
		}
	}
	return n
}

// scripted is a source whose run is a function.
type scripted struct {
	points []reading.Point
	run    func(ctx context.Context, emit func(reading.Reading)) error
}

func (s scripted) Points() []reading.Point { return s.points }
func (s scripted) String() string          { return "scripted" }
func (s scripted) Run(ctx context.Context, emit func(reading.Reading)) error {
	return s.run(ctx, emit)
}

// logBook is a log that tests can read.
type logBook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *logBook) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logBook) count(s string) int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Count(b.text.String(), s)
}

type bench struct {
	agent   *Agent
	core    *recordingCore
	journal *MemoryJournal
	clock   *Clock
	log     *logBook
	stop    func() error
}

// start runs an agent on gland a inside a synctest bubble.
func start(t *testing.T, wall func() time.Time, journal Journal, feeds func(c *Clock) []Feed, changes ...func(*Options)) *bench {
	t.Helper()
	b := &bench{core: &recordingCore{t: t}, journal: NewMemoryJournal(100, true), clock: NewClock(wall), log: &logBook{}}
	if journal == nil {
		journal = b.journal
	}
	log := slog.New(slog.NewTextHandler(b.log, nil))
	o := Options{
		Station: "s", Journal: journal, Clock: b.clock, Log: log, Feeds: feeds(b.clock),
		Alarms: AlarmSettings{LongestShelf: time.Hour, Settle: 10 * time.Minute},
		Glands: []GlandInfo{{Name: "A", Rules: rules.GlandConfig{ID: "a", Fitted: rules.Fitted{reading.Drip: true, reading.Temp: true}}}},
	}
	for _, change := range changes {
		change(&o)
	}
	var err error
	if b.agent, err = newAgent(o, b.core); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- RunAll(ctx, log, b.agent.Services()...) }()
	b.stop = func() error { cancel(); return <-done }
	return b
}

func steadyDrips(ctx context.Context, c *Clock, emit func(reading.Reading)) error {
	for {
		emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 1})
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Second):
		}
	}
}

func drips(c *Clock) []Feed {
	return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
		return steadyDrips(ctx, c, emit)
	}})}
}
