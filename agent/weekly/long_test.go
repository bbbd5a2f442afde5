package weekly_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"testing"
	"time"

	"weepd/agent"
	"weepd/agent/store"
	"weepd/agent/weekly"
	"weepd/rules"
)

// BenchmarkLongHistory makes the report of the newest whole week from a store of
// three years and 32 glands with four series each and some 100 000
// events, minutes for 90 days and hours before. Making the store takes longer
// than the reports; it is not counted.
func BenchmarkLongHistory(b *testing.B) {
	const glands, days, minuteDays = 32, 3 * 365, 90
	dir, ctx := b.TempDir(), b.Context()
	end := time.Date(2026, 3, 9, 6, 0, 0, 0, time.UTC)
	fill(ctx, b, dir, glands, days, minuteDays, end)
	q := weekly.Request{Station: "quarry", Week: weekly.LastWhole(end), Now: end, Drip: map[string]bool{}}
	for i := range glands {
		id := fmt.Sprintf("p%d-de", i)
		q.Drip[id] = true
		q.Glands = append(q.Glands, agent.GlandInfo{Name: id, Rules: rules.GlandConfig{
			ID: id, NormalDPM: 30, Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
		}})
	}
	for b.Loop() {
		err := store.LookAt(ctx, dir, func(l *store.Look) error {
			log, err := l.Upkeep(ctx)
			if err != nil {
				return err
			}
			weeps, err := l.Weeps(ctx, log, end)
			if err != nil {
				return err
			}
			if q.State, err = agent.UpkeepOf(q.Glands, log, weeps, end); err != nil {
				return err
			}
			r, err := weekly.Make(ctx, l, q)
			if err != nil {
				return err
			}
			if got := r.Glands[0].Time.Watched(); got < 160*time.Hour {
				b.Fatalf("watched for %s", got)
			}
			return r.HTML(io.Discard)
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// fill makes a store that ends at a moment; it stays open, as an agent's.
func fill(ctx context.Context, b *testing.B, dir string, glands, days, minuteDays int, end time.Time) {
	b.Helper()
	s, err := store.Open(dir, store.Options{MaxBytes: 4 << 30})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = s.Close() })
	begin := end.Add(-time.Duration(days) * 24 * time.Hour)
	for d := range days {
		step := time.Hour
		if d >= days-minuteDays {
			step = time.Minute
		}
		start := begin.Add(time.Duration(d) * 24 * time.Hour)
		for at := start; at.Before(start.Add(24 * time.Hour)); at = at.Add(step) {
			for i := range glands {
				id := fmt.Sprintf("p%d-de", i)
				dpm := 30 + 20*math.Sin(float64(at.Unix())/9e4+float64(i))
				s.Observe(id+"."+agent.SeriesDPM, at, dpm)
				s.Observe(id+"."+agent.SeriesDPM95, at, dpm*0.8)
				s.Observe(id+"."+agent.SeriesRise, at, 8)
				s.Observe(id+"."+agent.SeriesTemp, at, 24)
				if at.Minute() == 0 {
					s.Observe(id+"."+agent.SeriesWeep, at, dpm)
					s.Observe(id+"."+agent.SeriesWatched, at, 60)
				}
			}
		}
		now := store.Stamp{Wall: start.Add(24 * time.Hour), Steady: time.Duration(start.Unix()) * time.Second}
		if err := s.Flush(ctx, now); err != nil {
			b.Fatal(err)
		}
		if d%30 == 0 || d == days-1 {
			if err := s.Maintain(ctx, now); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := s.Commit(ctx, store.Batch{Events: events(b, start, glands), Upkeep: work(d, start, glands)}); err != nil {
			b.Fatal(err)
		}
	}
}

// work has each gland adjusted every other week and repacked every 300 days.
func work(day int, at time.Time, glands int) []store.Upkeep {
	var out []store.Upkeep
	for i := range glands {
		kind, value := "adjusted", `{"flats":1}`
		switch {
		case (day+i)%300 == 0:
			kind, value = "repacked", `{"rings":5}`
		case (day+i)%14 != 0:
			continue
		}
		id := fmt.Sprintf("p%d-de", i)
		payload := fmt.Sprintf(`{"seq":%d,"time":%q,"gland":%q,"by":"M. Weaver","command":"c","kind":%q,"value":%s}`,
			day*glands+i+1, at.Format(time.RFC3339), id, kind, value)
		out = append(out, store.Upkeep{Gland: id, Stamp: store.Stamp{Wall: at}, Payload: []byte(payload)})
	}
	return out
}

// events has an alarm that comes and goes on most glands each day.
func events(b *testing.B, day time.Time, glands int) []store.Event {
	b.Helper()
	var out []store.Event
	for i := range 3 * glands {
		e := agent.Event{
			Time: day.Add(time.Duration(i) * 10 * time.Minute), Kind: agent.EventAlarm, Gland: fmt.Sprintf("p%d-de", i/3), Condition: "leaking",
			State: []string{"active", "active", "cleared"}[i%3], AlarmState: "unacknowledged", Priority: "medium",
			Message: "Weep 72 (64 to 81) drops/min, most allowed is 60 drops/min.",
		}
		payload, err := json.Marshal(e)
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, store.Event{Stamp: store.Stamp{Wall: e.Time, Steady: time.Duration(e.Time.Unix()) * time.Second}, Kind: e.Kind, Payload: payload})
	}
	return out
}
