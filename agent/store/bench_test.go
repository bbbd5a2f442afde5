package store

import (
	"testing"
	"time"
)

// BenchmarkCommit is one alarm: an event and a state, durable.
func BenchmarkCommit(b *testing.B) {
	s := mustOpen(b, b.TempDir(), Options{})
	batch := Batch{
		Events: []Event{{Stamp: stampAt(0), Kind: "transition", Payload: make([]byte, 200)}},
		States: []State{{Key: "p1/dry", Stamp: stampAt(0), Payload: make([]byte, 200)}},
	}
	for b.Loop() {
		mustCommit(b, s, batch)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "commits/s")
}

// BenchmarkDrain takes a backlog out of the outbox in windows of 100.
func BenchmarkDrain(b *testing.B) {
	s := mustOpen(b, b.TempDir(), Options{})
	const window, backlog = 100, 5000
	list := make([]Event, backlog)
	for i := range list {
		list[i] = Event{Stamp: stampAt(0), Kind: "transition", Payload: make([]byte, 200)}
	}
	drained := 0
	for b.Loop() {
		b.StopTimer()
		mustCommit(b, s, Batch{Events: list})
		b.StartTimer()
		for s.OutboxLen() > 0 {
			pending, err := s.Pending(b.Context(), 0, window)
			if err != nil {
				b.Fatal(err)
			}
			if err := s.Delete(b.Context(), pending[len(pending)-1].Seq); err != nil {
				b.Fatal(err)
			}
			drained += len(pending)
		}
	}
	b.ReportMetric(float64(drained)/b.Elapsed().Seconds(), "events/s")
}

// BenchmarkSamples reads 90 days of minutes of one of 64 series.
func BenchmarkSamples(b *testing.B) {
	s := mustOpen(b, b.TempDir(), Options{})
	for d := range 90 {
		for series := range 64 {
			name := "p" + string(rune('A'+series)) + ".dpm"
			for m := range 24 * 60 {
				s.Observe(name, noon.Add(time.Duration(d)*day+time.Duration(m)*time.Minute), float64(m%50))
			}
		}
		if err := s.FlushAll(b.Context(), stampAt(time.Duration(d+1)*day)); err != nil {
			b.Fatal(err)
		}
	}
	if err := s.Maintain(b.Context(), stampAt(90*day)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := s.Samples(b.Context(), "pC.dpm", noon, noon.Add(90*day), 1000); err != nil {
			b.Fatal(err)
		}
	}
}
