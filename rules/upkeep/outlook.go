package upkeep

import (
	"fmt"
	"math"
	"time"
)

const (
	// widest is the widest range that is worth telling, as the standard deviation
	// of the time's logarithm: the late end is then six times the early one.
	widest = 0.7
	// widestRepack: further ahead a wider range is still of use for ordering
	// packing, up to eight times.
	widestRepack = 0.8
	// The floors of that standard deviation; set with `weepd proof outlook`.
	adjustFloor = 0.12
	repackFloor = 0.3
	// raggedShare of what ragged growth calls for is taken: a curve looks ragged too.
	raggedShare = 0.4
	// repackFactor widens the ranges to what the back-test calls for.
	repackFactor = 1.15
	// repackLater: lives that are carried on come to their end too early in the
	// back-test, by about a tenth.
	repackLater = 1.1
)

// outlook says what comes next.
func (v *view) outlook(list []Adjustment, p Packing) Outlook {
	ahead := v.toLimit()
	repack, _ := v.repackDue(list, p, ahead)
	return Outlook{Adjust: v.adjustDue(ahead), Repack: repack}
}

// ahead is the time until something, as a log-normal variable, days.
type ahead struct {
	now    bool
	known  bool
	mid    float64
	sd     float64 // of the logarithm
	level  Level
	legs   int
	reason string // where not known
}

// toLimit is the time until the weep reaches the most allowed.
func (v *view) toLimit() ahead {
	from, to := v.leg(len(v.cuts) - 1)
	from = max(from, to-growthReach)
	leg := v.series.within(from, to)
	lately := v.series.within(max(from, to-levelReach), to).last(2 * levelSpan)
	a := ahead{level: v.level(lately)}
	switch {
	case !a.level.Known:
		a.reason = "the weep was not watched for long enough lately"
		return a
	case a.level.DPM >= v.cfg.LeakDPM:
		a.now, a.known = true, true
		return a
	}
	var logs, variances []float64
	ragged := v.ragged()
	for f := range scales {
		past := v.past(f)
		a.legs = max(a.legs, len(past))
		per, sd, known := expected(past)
		m, s, ok := combine(growthOf(leg, from, f), per, sd, known)
		if !ok {
			continue
		}
		gap := f.of(v.cfg.LeakDPM) - f.of(a.level.DPM)
		levelSD := (f.of(a.level.HighDPM) - f.of(a.level.LowDPM)) / (2 * z95)
		logs = append(logs, math.Log(gap/m))
		variances = append(variances, (s/m)*(s/m)+(levelSD/gap)*(levelSD/gap)+raggedShare*ragged*m/gap)
	}
	if len(logs) == 0 {
		a.reason = "the weep has not grown so far that it shows"
		return a
	}
	a.mid, a.sd = pool(logs, variances)
	behind := inDays(v.at - lately.middle()) // the level is that of a while ago
	if a.mid -= behind; a.mid < behind/4 {
		a.mid = behind / 4
	}
	a.sd = math.Hypot(a.sd, adjustFloor)
	a.known = true
	return a
}

// pool joins what the scales say: the mean, with their difference on top.
func pool(logs, variances []float64) (mid, sd float64) {
	m, s := 0.0, 0.0
	for i := range logs {
		m += logs[i] / float64(len(logs))
		s += variances[i] / float64(len(logs))
	}
	for _, l := range logs {
		s += (l - m) * (l - m) / float64(len(logs))
	}
	return math.Exp(m), math.Sqrt(s)
}

func (v *view) adjustDue(a ahead) Forecast {
	f := Forecast{}
	switch {
	case a.now:
		f.Known, f.Now, f.Early, f.Mid, f.Late = true, true, v.at, v.at, v.at
		f.Words = []string{fmt.Sprintf("the weep is %s drops/min, most allowed is %s", levelWords(a.level), rateWords(v.cfg.LeakDPM))}
		return f
	case !a.known:
		f.Words = []string{a.reason}
		return f
	case a.sd > widest || a.mid > longest:
		f.Words = []string{"what was seen so far leaves too wide a range"}
		return f
	}
	f = v.rangeOf(a.mid, a.sd)
	f.Words = []string{fmt.Sprintf("the weep is %s drops/min and grows towards %s, the most allowed",
		levelWords(a.level), rateWords(v.cfg.LeakDPM))}
	if a.legs > 0 {
		f.Words = append(f.Words, fmt.Sprintf("by its growth now and between earlier adjustments (%d)", a.legs))
	}
	return f
}

// rangeOf makes a forecast of a time ahead.
func (v *view) rangeOf(mid, sd float64) Forecast {
	wide := math.Exp(z80 * sd)
	at := func(d float64) time.Duration { return v.at + days(d) }
	return Forecast{Known: true, Early: at(mid / wide), Mid: at(mid), Late: at(mid * wide)}
}
