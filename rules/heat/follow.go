package heat

import (
	"time"

	"weepd/rules/reading"
)

// followAll takes the rises of temperatures, the first after a reference of ref °C,
// as follow does. It says how many temperatures it has taken, and whether the last
// brought the judged rise up to its limit.
func (f *following) followAll(warms []reading.Warm, ref float64, b Bounds) (n int, hot bool) {
	n = f.followLearning(warms, &ref, b)
	at, lagged, fast, slow, normal := f.at, f.lagged, f.fast, f.slow, f.normal
	first, second, third := f.recent[0], f.recent[1], f.recent[2]
	learned := time.Duration(0)
	for hot = n > 0 && f.middle() >= b.LimitC; n < len(warms) && !hot; n++ {
		w := &warms[n]
		if w.Kind == reading.Ref {
			ref = w.C
			continue
		}
		since := w.At - at
		if since != f.gains.step {
			f.gains.find(since)
		}
		lagged += (ref - lagged) * f.gains.lag
		rise := w.C - max(ref, lagged)
		first, second, third = second, third, rise
		hot = max(min(first, second), min(max(first, second), third)) >= b.LimitC
		at = w.At
		fast += (rise - fast) * f.gains.fast
		slow += (rise - slow) * f.gains.slow
		if at >= b.Settled {
			learned += since
			normal += (rise - normal) * f.gains.longest
		}
	}
	f.at, f.refAt, f.lagged, f.fast, f.slow, f.normal = at, at, lagged, fast, slow, normal
	f.recent = [3]float64{first, second, third}
	f.normalFor += learned
	return n, hot
}

// followLearning takes the rises by which the normal rise is first learned.
func (f *following) followLearning(warms []reading.Warm, ref *float64, b Bounds) (n int) {
	for ; n < len(warms) && f.normalFor < normalTime; n++ {
		w := &warms[n]
		if w.Kind == reading.Ref {
			*ref = w.C
			continue
		}
		f.follow(w.At, w.C, *ref, w.At >= b.Settled)
		if f.middle() >= b.LimitC {
			return n + 1
		}
	}
	return n
}
