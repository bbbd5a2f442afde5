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
		// Where glands take turns a sweep is not worth it.
		if more := n+1 < len(rows) && places[rows[n+1].Point] == place; more && g.easy && row.At >= s.now {
			if taken := s.sweep(g, rows[n:], places); taken > 0 {
				n += taken
				s.now = rows[n-1].At
				if out = s.swept(g); len(out) > 0 {
					return n, out
				}
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

// swept judges a gland after a sweep, if that left something to judge.
func (s *Station) swept(g *gland) []Transition {
	if low, high, gush := g.detect.Out(); low || high || gush {
		g.settle(s.now)
		return s.collect(g, nil)
	}
	if due := g.laterByDrops(); due < g.due || g.due <= s.now {
		s.move(g, due)
	}
	return nil
}
