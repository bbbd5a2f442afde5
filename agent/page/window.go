package page

import (
	"errors"
	"net/url"
	"time"
)

// window is the time that a gland's view shows. The address holds it: a span
// that ends now, or from and to.
type window struct {
	Span     string // 1h, 24h, 7d or 90d; empty: from and to are given
	From, To time.Time
	Step     time.Duration
}

// spans are offered; the first is shown unless the address asks for another.
var spans = [...]struct {
	Name   string
	Length time.Duration
}{{"1h", time.Hour}, {"24h", 24 * time.Hour}, {"7d", 7 * 24 * time.Hour}, {"90d", 90 * 24 * time.Hour}}

// Bounds of a window: below the least, minutes are all there is; the history
// keeps hours for three years.
const (
	leastWindow = 10 * time.Minute
	mostWindow  = 3 * 366 * 24 * time.Hour
	chartSteps  = 400
)

// Faults of an address; their words are texts.
var (
	errWindow = errors.New("window.ends")
	errSpan   = errors.New("window.span")
)

// windowOf reads a window from an address.
func windowOf(values url.Values, now time.Time) (window, error) {
	if values.Get("from") == "" && values.Get("to") == "" {
		for i, span := range spans {
			if span.Name == values.Get("span") || values.Get("span") == "" && i == 0 {
				w := window{Span: span.Name, Step: stepOf(span.Length)}
				w.To = now.Truncate(w.Step).Add(w.Step)
				w.From = w.To.Add(-span.Length)
				return w, nil
			}
		}
		return window{}, errSpan
	}
	from, err1 := time.Parse(time.RFC3339, values.Get("from"))
	to, err2 := time.Parse(time.RFC3339, values.Get("to"))
	length := to.Sub(from)
	if err1 != nil || err2 != nil || length < leastWindow || length > mostWindow {
		return window{}, errWindow
	}
	w := window{Step: stepOf(length)}
	w.From, w.To = from.Truncate(w.Step), to.Truncate(w.Step)
	return w, nil
}

// chartStep are the history's own resolutions (agent/store).
var chartStep = [...]time.Duration{
	time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour,
}

func stepOf(length time.Duration) time.Duration {
	for _, step := range chartStep {
		if length <= chartSteps*step {
			return step
		}
	}
	return chartStep[len(chartStep)-1]
}

// points is how many steps there are, with both ends.
func (w window) points() int { return int(w.To.Sub(w.From)/w.Step) + 1 }

// at gives the place of a moment, 0 to 1.
func (w window) at(t time.Time) float64 {
	return min(max(float64(t.Sub(w.From))/float64(w.To.Sub(w.From)), 0), 1)
}

// query is the window as an address has it.
func (w window) query() string { return fixed(w.From, w.To) }

func fixed(from, to time.Time) string {
	return url.Values{"from": {from.UTC().Format(time.RFC3339)}, "to": {to.UTC().Format(time.RFC3339)}}.Encode()
}

// move gives the window with both ends moved by parts of its length; empty if
// that is no window.
func (w window) move(from, to float64) string {
	length := float64(w.To.Sub(w.From))
	a, b := w.From.Add(time.Duration(from*length)), w.To.Add(time.Duration(to*length))
	if d := b.Sub(a); d < leastWindow || d > mostWindow {
		return ""
	}
	return fixed(a, b)
}

// label writes a moment as finely as the window needs it.
func (w window) label(t time.Time, zone *time.Location) string {
	t = t.In(zone)
	switch length := w.To.Sub(w.From); {
	case length <= 24*time.Hour:
		return t.Format("15:04")
	case length <= 10*24*time.Hour:
		return t.Format("01-02 15:04")
	default:
		return t.Format(time.DateOnly)
	}
}

// slices cut the window for zooming.
const sliceCount = 6

type link struct{ Text, Query string }

func (w window) slices(zone *time.Location) (list []link) {
	length := w.To.Sub(w.From)
	for i := range sliceCount {
		a := w.From.Add(length * time.Duration(i) / sliceCount)
		b := w.From.Add(length * time.Duration(i+1) / sliceCount)
		if b.Sub(a) < leastWindow {
			return nil
		}
		list = append(list, link{w.label(a, zone) + "–" + w.label(b, zone), fixed(a, b)})
	}
	return list
}
