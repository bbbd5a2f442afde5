package upkeep

import (
	"math"
	"time"
)

// measureWander gives the relative standard deviation by which the weep goes up
// and down over hours beyond what its count explains: by the median size of the
// change from each stretch of levelSpan to the next.
func (v *view) measureWander() float64 {
	var changes, counting []float64
	for i := -1; i < len(v.cuts); i++ {
		from, to := v.leg(i)
		levels, counts := blocks(v.series.within(from, to))
		for j := 1; j < len(levels); j++ {
			changes = append(changes, math.Log(levels[j]/levels[j-1]))
			counting = append(counting, (1/counts[j]+1/counts[j-1])/v.shape)
		}
	}
	if len(changes) < leastBlocks {
		return usualWander
	}
	s := spread(changes)
	return math.Sqrt(max(0, s*s-medianOf(counting)) / 2)
}

// blocks gives the weep and the drops of each whole levelSpan of watched time.
func blocks(s series) (levels, counts []float64) {
	drops, watched := 0.0, time.Duration(0)
	for _, b := range s {
		drops += float64(b.Drops)
		if watched += b.Watched; watched < levelSpan {
			continue
		}
		if drops > 0 {
			levels, counts = append(levels, drops/watched.Minutes()), append(counts, drops)
		}
		drops, watched = 0, 0
	}
	return levels, counts
}
