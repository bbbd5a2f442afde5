package compare

import "time"

// Pair is an alarm that both configurations raise, or one that only one does:
// then the other index is -1.
type Pair struct{ Old, New int }

// Both reports an alarm of both.
func (p Pair) Both() bool { return p.Old >= 0 && p.New >= 0 }

// Match pairs the alarms of one condition of one gland, each list in order of
// time. Two may be the same alarm if they overlap or if not more than within
// lies between the end of one and the beginning of the other. Each has at most
// one partner, and pairs do not cross. Going through both lists by time, the
// first two that may be the same are; of two that may not, the one that ends
// first is alone. So as many pairs as possible are made, and the earliest ones.
// The pairs come in order of time.
func Match(before, after []Span, within time.Duration) []Pair {
	var pairs []Pair
	i, j := 0, 0
	for i < len(before) && j < len(after) {
		a, b := before[i], after[j]
		switch {
		case a.To+within < b.From:
			pairs = append(pairs, Pair{i, -1})
			i++
		case b.To+within < a.From:
			pairs = append(pairs, Pair{-1, j})
			j++
		default:
			pairs = append(pairs, Pair{i, j})
			i++
			j++
		}
	}
	for ; i < len(before); i++ {
		pairs = append(pairs, Pair{i, -1})
	}
	for ; j < len(after); j++ {
		pairs = append(pairs, Pair{-1, j})
	}
	return pairs
}
