package upkeep

import "time"

// ragged says how unevenly the weep grows: the variance of what it grows in a
// time, by the square of its pace and that time, in days. 0 is even growth; jumps
// at random every so many days give twice that many. It is what the changes over
// three days scatter more than those over one: a wander that comes and goes does
// not.
func (v *view) ragged() float64 {
	one, three, n := 0.0, 0.0, 0.0
	for i := -1; i < len(v.cuts); i++ {
		from, to := v.leg(i)
		x, y := byDay(v.series.within(from, to))
		if len(x) < leastPoints {
			continue
		}
		slope, _, _, ok := theilSen(x, y, z80, 1)
		if !ok || slope <= 0 {
			continue
		}
		off := func(i, j int) float64 { return (y[j] - y[i]) - slope*(x[j]-x[i]) }
		for i := 0; i+3 < len(x); i++ {
			a, b := off(i, i+1), off(i, i+3)
			one += a * a / (slope * slope)
			three += b * b / (slope * slope)
			n++
		}
	}
	if n < leastPoints {
		return 0
	}
	return max(0, (three-one)/n/2)
}

// byDay gives the weep of each day, by days since 1970.
func byDay(s series) (x, y []float64) {
	for i := 0; i < len(s); {
		j, drops, minutes := i, 0.0, 0.0
		for j < len(s) && dayOf(s[j]) == dayOf(s[i]) {
			drops, minutes = drops+float64(s[j].Drops), minutes+s[j].Watched.Minutes()
			j++
		}
		x, y = append(x, float64(dayOf(s[i]))), append(y, drops/minutes)
		i = j
	}
	return x, y
}

func dayOf(b Bucket) int64 { return int64(b.mid() / (24 * time.Hour)) }
