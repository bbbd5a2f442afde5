package page

import (
	"fmt"
	"log/slog"
	"testing"

	"weepd/agent"
)

// What an update of 500 glands costs the agent for each page that looks, when
// every number has changed.
func BenchmarkUpdateOf500(b *testing.B) {
	board := &fakeBoard{changed: make(chan struct{})}
	many := *testSnapshot()
	calm := many.Glands[0]
	many.Glands = nil
	for i := range 500 {
		calm.Rules.ID = fmt.Sprintf("g%03d", i)
		many.Glands = append(many.Glands, calm)
	}
	board.latest.Store(&many)
	server, err := Listen(b.Context(), "127.0.0.1:0", Parts{Board: board, Alive: func() bool { return true }, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = server.listener.Close() }()
	has := newKnown()
	step := 0.0
	for b.Loop() {
		next := many
		step = 1 - step
		next.Glands = append([]agent.Gland(nil), many.Glands...)
		for i := range next.Glands {
			next.Glands[i].State.Weep.DPM = 31 + 5*step
		}
		many = next
		board.latest.Store(&next)
		st := server.stationNow()
		if _, err := server.follow(has, st, server.pieces(st, query{View: viewOverview})); err != nil {
			b.Fatal(err)
		}
	}
}
