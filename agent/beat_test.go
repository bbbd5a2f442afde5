package agent

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/simulated"
)

// keeping is a drop sensor whose drops are kept until they are asked for.
type keeping struct {
	point    reading.Point
	clock    *Clock
	seed     uint64
	lazy     time.Duration // it takes so long to hand over
	patience *sensors.Patience

	mu   sync.Mutex
	told []time.Duration
}

// toldUpTo is how many drops it has told of up to a time.
func (k *keeping) toldUpTo(at time.Duration) (n int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, one := range k.told {
		if one <= at {
			n++
		}
	}
	return n
}

func (k *keeping) Points() []reading.Point  { return []reading.Point{k.point} }
func (k *keeping) String() string           { return "keeping" }
func (k *keeping) Heed(p *sensors.Patience) { k.patience = p }

func (k *keeping) Run(ctx context.Context, emit func(reading.Reading)) error {
	random := rand.New(rand.NewPCG(k.seed, 1))
	for at := k.clock.Steady(); ; at += time.Duration(random.ExpFloat64() * float64(time.Second)) {
		for at > k.clock.Steady() {
			select {
			case <-ctx.Done():
				return nil
			default:
			}
			if k.patience.Asked(ctx) {
				sleep(ctx, k.lazy)
			} else {
				sleep(ctx, at-k.clock.Steady())
			}
		}
		k.mu.Lock()
		k.told = append(k.told, at)
		k.mu.Unlock()
		emit(reading.Reading{At: at, Point: k.point, Value: 1})
	}
}

// calmly runs an agent on glands a and b, all calm.
func calmly(t *testing.T, sources func(c *Clock) []sensors.Source) (*bench, *atomic.Int64) {
	turns := new(atomic.Int64)
	b := start(t, nil, nil, func(c *Clock) (feeds []Feed) {
		for _, s := range sources(c) {
			feeds = append(feeds, FixedFeed(s))
		}
		return feeds
	}, func(o *Options) {
		o.Turned = func() { turns.Add(1) }
		o.Glands = append(o.Glands, GlandInfo{Rules: rules.GlandConfig{ID: "b", Fitted: rules.Fitted{reading.Drip: true}}})
	})
	b.core.setCalm(true)
	return b, turns
}

func (c *recordingCore) setCalm(calm bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.calm = calm
}

var dripB = reading.Point{Gland: "b", Kind: reading.Drip}

func two(c *Clock) (a, b *keeping) {
	return &keeping{point: dripA, clock: c, seed: 1}, &keeping{point: dripB, clock: c, seed: 2}
}

// On the beat every drop is fed with its own time, in order over all sources, and
// none is taken for silence; what came before the stop is not lost.
func TestBeatFeedsAllInOrderOfTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var one, other *keeping
		b, turns := calmly(t, func(c *Clock) []sensors.Source { one, other = two(c); return []sensors.Source{one, other} })
		time.Sleep(10 * time.Second)
		began := turns.Load()
		time.Sleep(10 * time.Minute)
		if n := turns.Load() - began; n < 590 || n > 610 {
			t.Errorf("the loop turned %d times in 600 s", n)
		}
		time.Sleep(123 * time.Millisecond)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		want := append(slices.Clone(one.told), other.told...)
		slices.Sort(want)
		calm := want[0] + 5*time.Second
		want = slices.DeleteFunc(want, func(at time.Duration) bool { return at < calm })
		var got []time.Duration
		for _, r := range b.core.fed {
			if r.At >= calm {
				got = append(got, r.At)
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d readings fed, %d came; the times differ", len(got), len(want))
		}
		if n := len(b.core.values(dripA)) + len(b.core.values(dripB)); n != len(one.told)+len(other.told) {
			t.Errorf("%d drops fed of %d", n, len(one.told)+len(other.told))
		}
	})
}

// When something is in the air each drop is fed at once, and later no more.
func TestNothingWaitsWhenSomethingIsInTheAir(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, turns := calmly(t, func(c *Clock) []sensors.Source { one, other := two(c); return []sensors.Source{one, other} })
		for _, calm := range []bool{false, true, false} {
			b.core.setCalm(calm)
			time.Sleep(5 * time.Second)
			began := turns.Load()
			time.Sleep(5 * time.Minute)
			if n := turns.Load() - began; calm && n > 310 || !calm && n < 600 {
				t.Errorf("calm %v: the loop turned %d times in 300 s, with 600 drops", calm, n)
			}
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}

// A source that takes long to hand over is not waited for: nothing else is late.
func TestALateSourceHoldsNobodyUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _ := calmly(t, func(c *Clock) []sensors.Source {
			one, other := two(c)
			other.lazy = 7 * time.Second
			return []sensors.Source{one, other}
		})
		for range 300 {
			time.Sleep(time.Second)
			if !b.agent.Alive() {
				t.Fatal("the loop stands still")
			}
			if newest := b.core.newest(dripA); newest != 0 && b.clock.Steady()-newest > 15*time.Second {
				t.Fatalf("the newest drop is %s old", b.clock.Steady()-newest)
			}
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		if b.log.count("does not hand over") == 0 {
			t.Error("the log does not say so")
		}
		if n := b.core.noAnswers(dripA); n > 0 {
			t.Errorf("%d times no answer of the other", n)
		}
	})
}

func (c *recordingCore) newest(p reading.Point) (at time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.fed {
		if r.Point == p {
			at = r.At
		}
	}
	return at
}

// With a drop sensor that cannot wait the loop turns for each drop as ever.
func TestAnImpatientSourceIsServedAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, turns := calmly(t, func(c *Clock) []sensors.Source {
			one, _ := two(c)
			return []sensors.Source{one, scripted{[]reading.Point{dripB}, func(ctx context.Context, emit func(reading.Reading)) error {
				for ctx.Err() == nil {
					emit(reading.Reading{At: c.Steady(), Point: dripB, Value: 1})
					sleep(ctx, 100*time.Millisecond)
				}
				return nil
			}}}
		})
		time.Sleep(time.Minute)
		if n := turns.Load(); n < 600 {
			t.Errorf("the loop turned %d times, with 600 drops", n)
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}

// A command or a bad reading does not wait for the beat, and comes after what was
// before it.
func TestWhatIsAskedForComesAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var one *keeping
		fault := make(chan bool)
		b, _ := calmly(t, func(c *Clock) []sensors.Source {
			first, other := two(c)
			one = first
			return []sensors.Source{one, other, scripted{[]reading.Point{tempA}, func(ctx context.Context, emit func(reading.Reading)) error {
				for ctx.Err() == nil {
					select {
					case <-fault:
						emit(reading.Reading{At: c.Steady(), Point: tempA, Quality: reading.OpenCircuit})
					case <-ctx.Done():
					}
				}
				return nil
			}}}
		})
		time.Sleep(10*time.Second + 400*time.Millisecond)
		for range 50 {
			time.Sleep(1170 * time.Millisecond)
			now := b.clock.Steady()
			if r := b.agent.Do(t.Context(), Command{ID: fmt.Sprint(now), Action: "acknowledge", Gland: "a", Condition: "dry", By: "me"}); r.Error == "" {
				t.Error("acknowledged what is not")
			}
			before := one.toldUpTo(now - underWay)
			if n := len(b.core.values(dripA)); n < before || b.clock.Steady() != now {
				t.Fatalf("%s later, %d of %d drops are fed", b.clock.Steady()-now, n, before)
			}
		}
		fault <- true
		synctest.Wait()
		time.Sleep(2 * underWay)
		if b.core.newest(tempA) == 0 {
			t.Error("the fault is not fed at once")
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
	})
}

// Whether the loop is patient or not, the same becomes known at the same times: what
// is fed and what the core says, over hours with every sort of event.
func TestPatienceChangesNothing(t *testing.T) {
	for seed := range uint64(4) {
		var rows [2][]reading.Reading
		var said [2][]rules.Transition
		var turns [2]int64
		for i, patience := range []time.Duration{0, longestPatience} {
			synctest.Test(t, func(t *testing.T) { rows[i], said[i], turns[i] = simulatedRun(t, seed, patience) })
		}
		if len(said[0]) < 4 || turns[1] > turns[0]*3/4 {
			t.Errorf("%d transitions, %d turns, with patience %d: nothing is shown", len(said[0]), turns[0], turns[1])
		}
		// Without patience the second's check may come in between a drop and its
		// timer, which makes the drop's time later.
		const timer = 1100 * time.Microsecond
		if !slices.EqualFunc(rows[0], rows[1], func(r, patient reading.Reading) bool {
			late := r.At - patient.At
			r.At = patient.At
			return r == patient && late >= -timer && late <= timer
		}) {
			t.Errorf("seed %d: fed %d rows, with patience %d or others", seed, len(rows[0]), len(rows[1]))
		}
		for i := range max(len(said[0]), len(said[1])) {
			if momentAt(said[0], i) != momentAt(said[1], i) {
				t.Fatalf("seed %d: transition %d: %s, with patience %s", seed, i, momentAt(said[0], i), momentAt(said[1], i))
			}
		}
	}
}

func simulatedRun(t *testing.T, seed uint64, patience time.Duration) ([]reading.Reading, []rules.Transition, int64) {
	station := simulated.Station{Seed: seed, Glands: []simulated.Gland{
		{ID: "a", DPM: 30, Events: []simulated.Event{
			{At: 30 * time.Minute, Kind: simulated.Stop}, {At: 40 * time.Minute, Kind: simulated.Start},
			{At: time.Hour, Kind: simulated.Burn, ToDPM: 2, Over: 5 * time.Minute}, {At: 80 * time.Minute, Kind: simulated.Leak, ToDPM: 30},
		}},
		{ID: "b", DPM: 35, SplashShare: 0.02, Events: []simulated.Event{
			{At: 70 * time.Minute, Kind: simulated.Leak, ToDPM: 90, Over: 10 * time.Minute}, {At: 100 * time.Minute, Kind: simulated.Tighten, ToDPM: 30},
			{At: 150 * time.Minute, Kind: simulated.Gush, ToDPM: 280}, {At: 155 * time.Minute, Kind: simulated.Tighten, ToDPM: 30},
		}},
	}}
	var turns atomic.Int64
	o := Options{Clock: NewClock(nil), Log: slog.New(slog.DiscardHandler), Journal: NewMemoryJournal(10, false), Turned: func() { turns.Add(1) }}
	o.History = NewRecorder(nil, o.Clock, o.Log)
	var cfg rules.Config
	for _, g := range station.Glands {
		cfg.Glands = append(cfg.Glands, rules.GlandConfig{
			ID: g.ID, NormalDPM: 30, Fitted: rules.Fitted{true, true, true, true},
			Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: rules.Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
		})
		o.Glands = append(o.Glands, GlandInfo{Rules: cfg.Glands[len(cfg.Glands)-1]})
	}
	source, err := simulated.New(station, o.Clock.Steady)
	if err != nil {
		t.Fatal(err)
	}
	o.Feeds = []Feed{FixedFeed(source)}
	inner, err := rules.NewStation(cfg)
	if err != nil {
		t.Fatal(err)
	}
	core := &heard{Station: inner}
	a, err := newAgent(o, core)
	if err != nil {
		t.Fatal(err)
	}
	a.loop.patience = patience
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- RunAll(ctx, o.Log, a.Services()...) }()
	time.Sleep(4 * time.Hour)
	cancel()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	var rows []reading.Reading
	for _, r := range o.History.parts[0].readings {
		if !r.Point.Kind.Mark() {
			rows = append(rows, r)
		}
	}
	return rows, core.said, turns.Load()
}
