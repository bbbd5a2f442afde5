package agent

import (
	"context"
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/weep"
	"weepd/sensors/recording"
)

// apartGland is one gland and its own station.
type apartGland struct {
	*apart
	id      string
	file    int
	station *rules.Station
	tally   *ReplayTally
	counted *GlandTally
	work    chan packet
	out     []rules.Transition
	places  []int // of all points: the gland's
	tallies []*GlandTally

	spare chan []reading.Row
	rows  []reading.Row // of the next packet; the reader's
	heard time.Duration // the reader's last row or tick for it
}

// tick stands in rows for time in which other glands had something to say.
const tick = reading.Kinds

// packet is rows of one gland: some, or a stretch in a batch that goes back.
type packet struct {
	of    *apartGland
	rows  []reading.Row
	batch *recording.Batch
	back  chan<- *recording.Batch
}

// packetsWaiting bounds what lies before a judge.
const packetsWaiting = 4

// judge is a goroutine that judges some of the glands.
type judge struct {
	models *weep.Models
	work   chan packet
}

func (j *judge) run(ctx context.Context) {
	for p := range j.work {
		if ctx.Err() == nil {
			p.of.take(p)
		}
		if p.back != nil {
			p.back <- p.batch
			continue
		}
		select {
		case p.of.spare <- p.rows[:0]:
		default:
		}
	}
}

func (g *apartGland) take(p packet) {
	n := 0
	if p.batch != nil {
		stretch := &p.batch.Stretch
		for at := (reading.Cursor{}); at != stretch.End(); {
			to, out := g.station.FeedStretch(0, stretch, at)
			g.tally.stretch(g.counted, stretch, at, to)
			g.told(out)
			at = to
		}
		n = stretch.Rows()
	}
	for rows := p.rows; len(rows) > 0; {
		if rows[0].Kind == tick {
			g.told(g.station.Advance(rows[0].At))
			g.tally.pass(rows[0].At)
			rows = rows[1:]
			continue
		}
		until := slices.IndexFunc(rows, func(r reading.Row) bool { return r.Kind == tick })
		if until < 0 {
			until = len(rows)
		}
		for _, r := range rows[:until] {
			for len(g.places) <= int(r.Point) {
				g.places, g.tallies = append(g.places, 0), append(g.tallies, g.counted)
			}
		}
		for some := rows[:until]; len(some) > 0; {
			taken, out := g.station.FeedRows(some, g.places)
			g.tally.rows(some[:taken], g.tallies)
			g.told(out)
			some = some[taken:]
		}
		n += until
		rows = rows[until:]
	}
	g.progress.fed(g.apart.rows.Add(int64(n)))
}

func (g *apartGland) told(out []rules.Transition) {
	if len(out) == 0 {
		return
	}
	g.out = append(g.out, out...)
	if g.held.Add(int64(len(out))) > mostHeld {
		g.fail(errTogether)
	}
}

func (g *apartGland) tick(at time.Duration) {
	g.rows = append(g.rows, reading.Row{At: at, Kind: tick})
	g.heard = at
	if len(g.rows) >= packetRows {
		g.send()
	}
}

// send hands the rows gathered to the gland's goroutine.
func (g *apartGland) send() {
	if len(g.rows) > 0 {
		g.work <- packet{of: g, rows: g.rows}
		select {
		case g.rows = <-g.spare:
		default:
			g.rows = make([]reading.Row, 0, packetRows)
		}
	}
}
