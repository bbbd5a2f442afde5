package agent

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/recording"
)

// heard is the real core, with all that it says.
type heard struct {
	*rules.Station
	said []rules.Transition
}

func (h *heard) Feed(r reading.Reading) ([]rules.Transition, error) {
	out, err := h.Station.Feed(r)
	h.said = append(h.said, out...)
	return out, err
}

func (h *heard) Advance(at time.Duration) []rules.Transition {
	out := h.Station.Advance(at)
	h.said = append(h.said, out...)
	return out
}

// moody is a station of glands whose weep, heat and shaft change at random and
// whose sensors fail, stay silent or end now and then.
func moody(c *Clock, seed uint64, gland string, drips bool) Feed {
	point := func(k reading.Kind) reading.Point { return reading.Point{Gland: gland, Kind: k} }
	points := []reading.Point{point(reading.Temp), point(reading.Ref)}
	if drips {
		points = append(points, point(reading.Drip), point(reading.Run))
	}
	random := rand.New(rand.NewPCG(seed, 7))
	run := func(ctx context.Context, emit func(reading.Reading)) error {
		dpm, rise, turns := 30.0, 10.0, 1.0
		put := func(k reading.Kind, v float64) {
			r := reading.Reading{At: c.Steady(), Point: point(k), Value: v}
			if random.Float64() < 0.002 {
				r.Value, r.Quality = math.NaN(), reading.OpenCircuit
			}
			emit(r)
		}
		for ctx.Err() == nil {
			switch random.IntN(40) {
			case 0:
				dpm = []float64{1, 30, 30, 45, 150, 600}[random.IntN(6)]
			case 1:
				rise = []float64{2, 10, 10, 35}[random.IntN(4)]
			case 2:
				turns = float64(random.IntN(2))
				if drips {
					put(reading.Run, turns)
				}
			case 3:
				if random.IntN(4) == 0 {
					return errors.New("the device is gone")
				}
			}
			put(reading.Temp, 20+math.Round(16*(rise+random.Float64()))/16)
			put(reading.Ref, 20)
			if !drips { // slow sensors: the station has nothing else to say meanwhile
				sleep(ctx, 50*time.Second+time.Duration(random.IntN(100))*time.Second)
				continue
			}
			for end := time.Now().Add(10 * time.Second); time.Now().Before(end) && ctx.Err() == nil; {
				sleep(ctx, min(time.Until(end), time.Duration(random.ExpFloat64()*60/dpm*float64(time.Second))))
				put(reading.Drip, turns)
			}
		}
		return nil
	}
	return Feed{Name: gland, Points: points, Open: func() (s sensors.Source, err error) { return scripted{points, run}, nil }}
}

func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// What the history holds of a run, replayed through a new core by way of a
// recording, says what the agent's core said: the same transitions at the same
// times; with bad readings, sources that end and come again, repacks, and
// sensors so slow that the station is silent for minutes.
func TestHistoryReplaysToTheSame(t *testing.T) {
	for seed := range uint64(6) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { replaysToTheSame(t, seed) })
		})
	}
}

func replaysToTheSame(t *testing.T, seed uint64) {
	var o Options
	var cfg rules.Config
	o.Clock, o.Log = NewClock(nil), slog.New(slog.DiscardHandler)
	o.Journal = NewMemoryJournal(10, false)
	o.History = NewRecorder(nil, o.Clock, o.Log)
	for i, id := range []string{"a", "b"} {
		fitted := rules.Fitted{reading.Drip: i == 0 && seed%3 != 2, reading.Temp: true, reading.Ref: true, reading.Run: i == 0 && seed%3 != 2}
		g := rules.GlandConfig{
			ID: id, NormalDPM: 30, Fitted: fitted,
			Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: rules.Timing{StartGrace: 2 * time.Minute, OnDelay: 3 * time.Second, OffDelay: time.Minute, DeadbandPercent: 5, RunIn: 2 * time.Hour},
		}
		cfg.Glands = append(cfg.Glands, g)
		o.Glands = append(o.Glands, GlandInfo{Name: id, Rules: g})
		o.Feeds = append(o.Feeds, moody(o.Clock, 10*seed+uint64(i), id, fitted[reading.Drip]))
	}
	station, err := rules.NewStation(cfg)
	if err != nil {
		t.Fatal(err)
	}
	core := &heard{Station: station}
	a, err := newAgent(o, core)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- RunAll(ctx, o.Log, a.Services()...) }()
	time.Sleep(3 * time.Hour)
	if r := a.Do(t.Context(), Command{ID: "c1", Action: ActionRecord, Gland: "a", By: "mechanic", Kind: EntryRepacked}); !r.OK {
		t.Fatalf("%+v", r)
	}
	time.Sleep(4 * time.Hour)
	if r := a.Do(t.Context(), Command{ID: "c2", Action: ActionRecord, Gland: "a", By: "mechanic", Kind: "adjusted", Value: []byte(`{"flats":1}`)}); !r.OK {
		t.Fatalf("%+v", r)
	}
	time.Sleep(3 * time.Hour)
	cancel()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	if n := o.History.Dropped(); n > 0 || len(o.History.parts) != 1 {
		t.Fatalf("%d rows dropped, %d parts", n, len(o.History.parts))
	}
	rows := o.History.parts[0].readings
	again := replayedRows(t, cfg, rows)
	if len(core.said) < 5 {
		t.Errorf("only %d transitions: nothing is shown", len(core.said))
	}
	for i := range max(len(core.said), len(again)) {
		if i >= len(core.said) || i >= len(again) || moment(core.said[i]) != moment(again[i]) {
			t.Fatalf("transition %d of %d, replayed %d: live %s, replayed %s", i, len(core.said), len(again), momentAt(core.said, i), momentAt(again, i))
		}
	}
}

func moment(tr rules.Transition) string {
	return fmt.Sprint(tr.At, " ", tr.Gland, " ", tr.Condition, " ", tr.Active)
}

func momentAt(list []rules.Transition, i int) string {
	if i < len(list) {
		return moment(list[i])
	}
	return "nothing"
}

func replayedRows(t *testing.T, cfg rules.Config, rows []reading.Reading) (out []rules.Transition) {
	t.Helper()
	var file bytes.Buffer
	w := recording.NewWriter(&file)
	for _, r := range rows {
		if err := w.Write(r, time.Unix(0, int64(r.At))); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	open := func() Recorded {
		r, err := recording.NewReader("export", bytes.NewReader(file.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	station, err := rules.NewStation(FitRecorded(cfg, open()))
	if err != nil {
		t.Fatal(err)
	}
	_, err = Replay{Core: station, Transition: func(tr rules.Transition) error { out = append(out, tr); return nil }}.Run(t.Context(), open())
	if err != nil {
		t.Fatal(err)
	}
	return out
}
