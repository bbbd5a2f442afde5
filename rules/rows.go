package rules

import (
	"slices"

	"weepd/rules/reading"
)

// NoPlace stands for a gland that is not the station's.
const NoPlace = -1

// Place is a gland's place in the station, for FeedRows; it holds until
// Reconfigure. It is NoPlace for a gland that is not the station's.
func (s *Station) Place(gland string) int {
	if g, found := s.byID[gland]; found {
		return slices.Index(s.glands, g)
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
			if taken := s.sweepRows(g, rows[n:], places, place); taken > 0 {
				n += taken
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
	if g.needsJudgement(s.now) {
		g.settle(s.now)
		return s.collect(g, nil)
	}
	if due := g.laterByDrops(); due < g.due || g.due <= s.now {
		s.move(g, due)
	}
	return nil
}

// stretchDrops is how many drops of a stretch are swept at once: what a sweep
// takes back where it has gone too far is in proportion.
const stretchDrops = 512

// FeedStretch is Feed for the rows of a stretch from a place on; they are of the
// gland at a place of the station. It stops after a row that brings
// transitions, and says how far it has come.
func (s *Station) FeedStretch(place int, rows *reading.Stretch, from reading.Cursor) (to reading.Cursor, out []Transition) {
	g := s.glands[place]
	for to = from; to.Rows() < rows.Rows(); {
		row, next := rows.Row(to)
		if g.easy && g.sweepsWarms() && uint64(row.At-s.now) <= uint64(MaxSilence) {
			if swept := s.sweep(g, rows, to, stretchDrops); swept != to {
				to = swept
				if out = s.swept(g); len(out) > 0 {
					return to, out
				}
				continue
			}
		}
		to = next
		if out = s.feed(g, row.At, row.Kind, row.Value, row.Quality); len(out) > 0 {
			return to, out
		}
	}
	return to, nil
}
