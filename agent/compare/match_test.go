package compare

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// drawSpans draws alarms of one condition: in order, apart.
func drawSpans(t *rapid.T, label string) []Span {
	var list []Span
	at := time.Duration(0)
	for range rapid.IntRange(0, 6).Draw(t, label) {
		at += time.Duration(rapid.IntRange(1, 8).Draw(t, "gap"))
		to := at + time.Duration(rapid.IntRange(0, 8).Draw(t, "length"))
		list = append(list, Span{From: at, To: to})
		at = to
	}
	return list
}

// near is the definition: they overlap, or no more than within lies between.
func near(a, b Span, within time.Duration) bool {
	overlap := a.From <= b.To && b.From <= a.To
	between := max(b.From-a.To, a.From-b.To)
	return overlap || between <= within
}

// mostPairs tries every pairing that keeps the order, without pairs that cross,
// and gives the largest; of these the one whose pairs come first.
func mostPairs(a, b []Span, i, j int, within time.Duration) []Pair {
	if i == len(a) || j == len(b) {
		return nil
	}
	var best []Pair
	if near(a[i], b[j], within) {
		best = append([]Pair{{i, j}}, mostPairs(a, b, i+1, j+1, within)...)
	}
	for _, other := range [][]Pair{mostPairs(a, b, i, j+1, within), mostPairs(a, b, i+1, j, within)} {
		if len(other) > len(best) || len(other) == len(best) && slices.CompareFunc(other, best, byOld) < 0 {
			best = other
		}
	}
	return best
}

func byOld(a, b Pair) int { return cmp.Or(cmp.Compare(a.Old, b.Old), cmp.Compare(a.New, b.New)) }

// Match makes as many pairs as any pairing can, the earliest ones, and leaves
// no alarm out.
func TestMatchAgainstEveryPairing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawSpans(t, "old"), drawSpans(t, "new")
		within := time.Duration(rapid.IntRange(0, 5).Draw(t, "within"))
		var both []Pair
		var olds, news []int
		for _, p := range Match(a, b, within) {
			if p.Both() {
				both = append(both, p)
				if !near(a[p.Old], b[p.New], within) {
					t.Fatalf("%v are not near", p)
				}
			}
			if p.Old >= 0 {
				olds = append(olds, p.Old)
			}
			if p.New >= 0 {
				news = append(news, p.New)
			}
		}
		if want := mostPairs(a, b, 0, 0, within); !slices.Equal(both, want) {
			t.Fatalf("old %v new %v within %d: %v, want %v", a, b, within, both, want)
		}
		if !slices.Equal(olds, upTo(len(a))) || !slices.Equal(news, upTo(len(b))) {
			t.Fatalf("old %v and new %v are not all there, in order", olds, news)
		}
	})
}

func upTo(n int) []int {
	var list []int
	for i := range n {
		list = append(list, i)
	}
	return list
}
