package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules"
	"weepd/rules/reading"
)

// recordedTape is a Recorded from memory, ending in end (io.EOF if nil).
type recordedTape struct {
	name string
	rows []reading.Reading
	end  error
	at   int
}

func (p *recordedTape) Next() (reading.Reading, error) {
	if p.at == len(p.rows) {
		if p.end != nil {
			return reading.Reading{}, p.end
		}
		return reading.Reading{}, io.EOF
	}
	p.at++
	return p.rows[p.at-1], nil
}

func (p *recordedTape) Where() string { return fmt.Sprintf("%s:%d", p.name, p.at+1) }

// notingCore is a core that notes its rows and raises dry at every drip of 0.
type notingCore struct{ fed []reading.Reading }

func (c *notingCore) Feed(r reading.Reading) ([]rules.Transition, error) {
	if r.Point.Gland == "unknown" {
		return nil, fmt.Errorf("reading of unknown point %s", r.Point)
	}
	c.fed = append(c.fed, r)
	if r.Point.Kind == reading.Drip && r.Value == 0 {
		return []rules.Transition{{At: r.At, Gland: r.Point.Gland, Condition: rules.Dry, Active: true}}, nil
	}
	return nil, nil
}

func dripRow(at time.Duration, gland string, n float64) reading.Reading {
	return reading.Reading{At: at, Point: reading.Point{Gland: gland, Kind: reading.Drip}, Value: n}
}

func replayed(t *testing.T, tapes ...Recorded) (*notingCore, []rules.Transition, int64, error) {
	t.Helper()
	core := &notingCore{}
	var out []rules.Transition
	rows, err := Replay{Core: core, Transition: func(tr rules.Transition) error {
		out = append(out, tr)
		return nil
	}}.Run(t.Context(), tapes...)
	return core, out, rows, err
}

// However rows are spread over recordings, they come back in order of time.
func TestReplayMergesByTime(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var all []reading.Reading
		tapes := make([]*recordedTape, rapid.IntRange(1, 5).Draw(rt, "recordings"))
		for i := range tapes {
			tapes[i] = &recordedTape{name: fmt.Sprint(i)}
		}
		at := time.Duration(0)
		for range rapid.IntRange(0, 40).Draw(rt, "rows") {
			at += time.Duration(rapid.IntRange(0, 2).Draw(rt, "step"))
			i := rapid.IntRange(0, len(tapes)-1).Draw(rt, "recording")
			row := dripRow(at, fmt.Sprint("g", i), 1)
			tapes[i].rows = append(tapes[i].rows, row)
			all = append(all, row)
		}
		// The model: sort by time, ties by the recording's place.
		slices.SortStableFunc(all, func(a, b reading.Reading) int {
			return int(a.At-b.At)*100 + strings.Compare(a.Point.Gland, b.Point.Gland)
		})
		recorded := make([]Recorded, len(tapes))
		for i := range tapes {
			recorded[i] = tapes[i]
		}
		core, _, rows, err := replayed(t, recorded...)
		if err != nil || rows != int64(len(all)) || !slices.Equal(core.fed, all) {
			rt.Fatalf("%d rows, %v: fed\n%v\nwant\n%v", rows, err, core.fed, all)
		}
	})
}

func TestReplayReportsAllBeforeAFault(t *testing.T) {
	fault := errors.New("a.csv:4: text for a number; want a number")
	a := &recordedTape{name: "a.csv", rows: []reading.Reading{dripRow(1, "p1", 1), dripRow(5, "p1", 0)}, end: fault}
	b := &recordedTape{name: "b.csv", rows: []reading.Reading{dripRow(3, "p2", 0), dripRow(9, "p2", 0)}}
	_, out, rows, err := replayed(t, a, b)
	if !errors.Is(err, fault) || rows != 3 || len(out) != 2 {
		t.Errorf("%d rows, %d transitions, error %v; want 3, 2 and the fault", rows, len(out), err)
	}
}

func TestReplayNamesThePlaceOfAnUnknownGland(t *testing.T) {
	a := &recordedTape{name: "a.csv", rows: []reading.Reading{dripRow(1, "p1", 1), dripRow(2, "unknown", 1), dripRow(3, "p1", 1)}}
	_, _, rows, err := replayed(t, a, &recordedTape{name: "b.csv", rows: []reading.Reading{dripRow(1, "p2", 1)}})
	if err == nil || !strings.HasPrefix(err.Error(), "a.csv:3: reading of unknown point unknown.drip; add gland unknown") || rows != 2 {
		t.Errorf("%d rows, error %v", rows, err)
	}
}

func TestReplayRefusesTheSameRowsTwice(t *testing.T) {
	rows := []reading.Reading{dripRow(1, "p1", 1), dripRow(2, "p1", 1)}
	_, _, n, err := replayed(t, &recordedTape{name: "a.csv", rows: rows}, &recordedTape{name: "b.csv", rows: rows})
	if err == nil || !strings.HasPrefix(err.Error(), "b.csv:2: p1.drip at this time stands in another recording too; ") || n != 1 {
		t.Errorf("%d rows, error %v", n, err)
	}
}

func TestReplayOfNothing(t *testing.T) {
	if _, _, _, err := replayed(t); err == nil {
		t.Error("no recording: no error")
	}
	if _, _, rows, err := replayed(t, &recordedTape{}); err != nil || rows != 0 {
		t.Errorf("empty recording: %d rows, %v", rows, err)
	}
}

func TestReplayStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	why := errors.New("told to")
	cancel(why)
	if rows, err := (Replay{Core: &notingCore{}}).Run(ctx, &recordedTape{rows: []reading.Reading{dripRow(1, "p1", 1)}}); !errors.Is(err, why) || rows != 0 {
		t.Errorf("%d rows, %v", rows, err)
	}
}

func TestReplayEndsWhenTheListenerFails(t *testing.T) {
	full := errors.New("disk full")
	_, err := Replay{Core: &notingCore{}, Transition: func(rules.Transition) error { return full }}.
		Run(t.Context(), &recordedTape{rows: []reading.Reading{dripRow(1, "p1", 0)}})
	if !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
}

func TestFitRecorded(t *testing.T) {
	point := func(gland string, k reading.Kind) reading.Reading {
		return reading.Reading{Point: reading.Point{Gland: gland, Kind: k}}
	}
	cfg := rules.Config{Glands: []rules.GlandConfig{{ID: "p1", Fitted: rules.Fitted{true, true, true, true}}, {ID: "p2"}, {ID: "p3"}}}
	got := FitRecorded(cfg,
		&recordedTape{rows: []reading.Reading{point("p1", reading.Drip), point("p2", reading.Temp), point("stranger", reading.Run)}, end: errors.New("cut off")},
		&recordedTape{rows: []reading.Reading{point("p1", reading.Run)}})
	want := []rules.Fitted{{reading.Drip: true, reading.Run: true}, {reading.Temp: true}, {}}
	for i, g := range got.Glands {
		if g.Fitted != want[i] {
			t.Errorf("%s: fitted %v, want %v", g.ID, g.Fitted, want[i])
		}
	}
	if cfg.Glands[0].Fitted != (rules.Fitted{true, true, true, true}) {
		t.Error("the given configuration was changed")
	}
}
