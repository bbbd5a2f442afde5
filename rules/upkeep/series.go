package upkeep

import (
	"math"
	"time"

	"weepd/rules/weep"
)

// Bucket is the weep of a stretch of time, an hour as a rule: what was counted
// while the shaft turned and the count could be believed.
type Bucket struct {
	From, To time.Duration // steady time
	Watched  time.Duration // of it
	Drops    uint32
}

// DPM is the bucket's drops per minute; it must have been watched.
func (b Bucket) DPM() float64 { return float64(b.Drops) / b.Watched.Minutes() }

// mid is the middle of the bucket.
func (b Bucket) mid() time.Duration { return b.From + (b.To-b.From)/2 }

const (
	// bucketsMost bounds the weep that is remembered of a gland: 32 bytes each, 64 KiB together.
	// Beyond it the older half is joined in pairs, so that a year still has a
	// value every few hours.
	bucketsMost = 2048
	// longestBucket is the coarsest that joining makes; what is older than all
	// of these reach back (over five years) is forgotten.
	longestBucket = 24 * time.Hour
	// leastWatched of a bucket is worth a rate.
	leastWatched = 5 * time.Minute
)

// series is the weep of a gland, oldest first.
type series []Bucket

// add appends a bucket and keeps the bound. cut reports whether something was
// done at the gland within a stretch, which must not be joined over.
func (s *series) add(b Bucket, cut func(from, to time.Duration) bool) {
	if b.Watched < leastWatched {
		return
	}
	*s = append(*s, b)
	if len(*s) > bucketsMost {
		s.join(cut)
	}
}

// join halves the older half.
func (s *series) join(cut func(from, to time.Duration) bool) {
	old := len(*s) / 2
	kept := (*s)[:0]
	for i := 0; i < len(*s); i++ {
		b := (*s)[i]
		if i+1 < old {
			next := (*s)[i+1]
			if next.To-b.From <= longestBucket && !cut(b.From, next.To) {
				b.To, b.Watched, b.Drops = next.To, b.Watched+next.Watched, b.Drops+next.Drops
				i++
			}
		}
		kept = append(kept, b)
	}
	if len(kept) > bucketsMost { // nothing could be joined
		kept = append(kept[:0], kept[len(kept)-bucketsMost:]...)
	}
	*s = kept
}

// within gives the buckets that lie wholly in a stretch of time.
func (s series) within(from, to time.Duration) series {
	lo, hi := 0, len(s)
	for lo < hi && s[lo].From < from {
		lo++
	}
	for hi > lo && s[hi-1].To > to {
		hi--
	}
	return s[lo:hi]
}

// last gives the newest buckets up to so much watched time, at least one.
func (s series) last(most time.Duration) series {
	sum := time.Duration(0)
	for i := len(s) - 1; i >= 0; i-- {
		if sum += s[i].Watched; sum >= most {
			return s[i:]
		}
	}
	return s
}

// first is last from the other end.
func (s series) first(most time.Duration) series {
	sum := time.Duration(0)
	for i := range s {
		if sum += s[i].Watched; sum >= most {
			return s[:i+1]
		}
	}
	return s
}

// level gives the weep of all buckets together. shape is the regularity of the
// drops (1 = Poisson), wander the relative standard deviation by which the weep
// itself goes up and down over hours: both widen the limits.
func (s series) level(shape, wander float64) Level {
	l := Level{}
	drops := 0.0
	for _, b := range s {
		drops += float64(b.Drops)
		l.Watched += b.Watched
	}
	if l.Watched < leastLevel {
		return l
	}
	n := max(drops, 1)
	l.Rate, l.Known = weep.Limits(drops, l.Watched.Minutes(), 1/(1/shape+n*wander*wander)), true
	return l
}

// middle is the middle of the watched time.
func (s series) middle() time.Duration {
	sum, watched := 0.0, 0.0
	for _, b := range s {
		sum += b.mid().Hours() * b.Watched.Hours()
		watched += b.Watched.Hours()
	}
	return time.Duration(sum / watched * float64(time.Hour))
}

// leastLevel must be watched before a level is told.
const leastLevel = 20 * time.Minute

// points gives the buckets as days since from and drops per minute, joined to at
// most so many.
func (s series) points(from time.Duration, most int) (days, dpm []float64) {
	if len(s) == 0 {
		return nil, nil
	}
	each := (len(s) + most - 1) / most
	for i := 0; i < len(s); i += each {
		part := s[i:min(i+each, len(s))]
		drops, minutes, at := 0.0, 0.0, 0.0
		for _, b := range part {
			drops += float64(b.Drops)
			minutes += b.Watched.Minutes()
			at += inDays(b.mid()-from) * b.Watched.Minutes()
		}
		days, dpm = append(days, at/minutes), append(dpm, drops/minutes)
	}
	return days, dpm
}

func inDays(d time.Duration) float64 { return d.Hours() / 24 }

func days(d float64) time.Duration {
	if d >= longest {
		d = longest
	}
	return time.Duration(math.Round(d*24*60)) * time.Minute
}

// longest is the horizon of everything that is said, days.
const longest = 3 * 365
