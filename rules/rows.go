package rules

import "weepd/rules/reading"

// NoPlace stands for a gland that is not the station's.
const NoPlace = -1

// Place is a gland's place in the order of the configuration, for FeedRows; it
// holds until Reconfigure. It is NoPlace for a gland that is not the station's.
func (s *Station) Place(gland string) int {
	if g, found := s.byID[gland]; found {
		return g.order
	}
	return NoPlace
}

// FeedRows is Feed for many rows in order of time; places holds the place of the
// gland of each point. It stops after a row that brings transitions, and before
// one whose place is NoPlace, and says how many rows it has taken.
func (s *Station) FeedRows(rows []reading.Row, places []int) (n int, out []Transition) {
	for n < len(rows) {
		row := &rows[n]
		place := places[row.Point]
		if place < 0 {
			return n, nil
		}
		g := s.glands[place]
		if row.Kind == reading.Drip && g.easy && row.At >= s.now {
			if taken := s.glide(g, rows[n:]); taken > 0 {
				n += taken
				continue
			}
		}
		n++
		if out = s.feed(g, row.At, row.Kind, row.Value, row.Quality); len(out) > 0 {
			return n, out
		}
	}
	return n, nil
}

// glide takes the single drops that come next as far as an easy gland need not
// look at any of them: what takeDropEasily does for each, at once.
func (s *Station) glide(g *gland, rows []reading.Row) (taken int) {
	d := &g.drip
	if d.bounce != 0 {
		return 0
	}
	taken = g.detect.Glide(&g.count, rows, streamSpan/16, min(s.agenda[0].due, d.lastDrop+MaxSilence))
	if taken == 0 {
		return 0
	}
	at := rows[taken-1].At
	d.total += uint64(taken)
	d.lastDrop = at
	if g.judged {
		d.warmthC, d.warmth = g.judgedC, true
	}
	g.care.meter.drops(at, taken)
	s.now = at
	return taken
}
