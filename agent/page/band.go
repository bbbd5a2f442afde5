package page

import (
	"math"
	"strconv"
	"strings"

	"weepd/agent"
)

// A weep is shown by its position: the allowed band has the same place on
// every scale, so that whatever leaves it stands out of the column.
const (
	dryAt  = 30.0 // of 100: the least weep
	leakAt = 70.0 // the most allowed
	gushAt = 90.0
	riseAt = 70.0 // the limit of the rise

	weepWide = 2.0 // units of the picture for one of the scale
)

// band is what a gland is judged by at present.
type band struct{ dry, leak, gush, rise float64 }

func bandOf(g agent.Gland) band {
	l := g.Rules.Limits
	b := band{l.DryDPM, l.LeakDPM, l.GushDPM, l.RiseC}
	if g.State.LeakDPM > 0 {
		b.leak = g.State.LeakDPM
	}
	if g.State.RiseLimitC > 0 {
		b.rise = g.State.RiseLimitC
	}
	b.gush = max(b.gush, b.leak)
	return b
}

// weep gives the place of a weep, 0 to 100.
func (b band) weep(dpm float64) float64 {
	switch {
	case !(dpm > 0):
		return 0
	case dpm <= b.dry:
		return dryAt * dpm / b.dry
	case dpm <= b.leak:
		return dryAt + (leakAt-dryAt)*(dpm-b.dry)/(b.leak-b.dry)
	case dpm <= b.gush:
		return leakAt + (gushAt-leakAt)*(dpm-b.leak)/(b.gush-b.leak)
	default:
		return gushAt + (100-gushAt)*(1-b.gush/dpm)
	}
}

// heat gives the place of a rise, 0 to 100.
func (b band) heat(riseC float64) float64 {
	switch {
	case !(riseC > 0):
		return 0
	case riseC <= b.rise:
		return riseAt * riseC / b.rise
	default:
		return riseAt + (100-riseAt)*min((riseC-b.rise)/b.rise, 1)
	}
}

// half rounds to half a unit: less cannot be seen.
func half(v float64) string { return strconv.FormatFloat(math.Round(v*2)/2, 'f', -1, 64) }

// marker, whisker and bar are the live attributes of a scale.
func (b band) marker(dpm float64) string { return "translate(" + half(weepWide*b.weep(dpm)) + " 8)" }

func (b band) whisker(low, high float64) string {
	return "M" + half(weepWide*b.weep(low)) + " 8H" + half(weepWide*b.weep(high))
}

func (b band) bar(riseC float64) string { return "M0 8H" + half(b.heat(riseC)) }

// The trend's picture.
const (
	trendWide = 72 // one unit a step
	trendHigh = 20
)

// trendPath draws samples, one each step that has one, as a path; the upright
// is the scale of the weep.
func (b band) trendPath(levels []float64) string {
	var path strings.Builder
	pen := false
	for x, dpm := range levels {
		if math.IsNaN(dpm) {
			pen = false
			continue
		}
		verb := "L"
		if !pen {
			verb = "M"
		}
		pen = true
		y := trendHigh * (1 - b.weep(dpm)/100)
		path.WriteString(verb + strconv.Itoa(x) + " " + strconv.FormatFloat(math.Round(y*2)/2, 'f', -1, 64))
	}
	return path.String()
}
