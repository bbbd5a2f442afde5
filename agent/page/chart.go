package page

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"time"

	"github.com/go-analyze/charts"

	"weepd/agent"
)

// The pictures, in units of their own; they fill the width that there is.
const chartText = 9.5 // points

// size is a picture's: one for a screen, one for a phone, of which the style
// sheet shows one.
type size struct {
	class      string
	wide, high int
	labels     int
}

var sizes = [...]size{{"wide", 960, 250, sliceCount + 1}, {"narrow", 400, 220, sliceCount/2 + 1}}

// course is a series over a window, one value a step; NaN where there is none.
type course struct{ low, mean, high []float64 }

// course reads a series of the history.
func (s *Server) course(ctx context.Context, gland, series string, w window) (course, error) {
	c := course{blank(w), blank(w), blank(w)}
	if s.parts.History == nil {
		return c, nil
	}
	samples, step, err := s.parts.History.Samples(ctx, gland+"."+series, w.From, w.To.Add(1), chartSteps+1)
	if err != nil {
		return c, err
	}
	if step > w.Step { // one more step than fits: the coarser ones are further apart
		samples = nil
	}
	for _, one := range samples {
		if i := int(one.Start.Sub(w.From) / w.Step); i >= 0 && i < len(c.mean) {
			c.low[i], c.mean[i], c.high[i] = one.Min, one.Mean, one.Max
		}
	}
	return c, nil
}

func blank(w window) []float64 {
	list := make([]float64, w.points())
	for i := range list {
		list[i] = math.NaN()
	}
	return list
}

// most gives the largest value, least the smallest; false if there is none.
func (c course) extremes() (least, most float64, ok bool) {
	least, most = math.Inf(1), math.Inf(-1)
	for i, v := range c.mean {
		if !math.IsNaN(v) {
			least, most = min(least, c.low[i]), max(most, c.high[i])
		}
	}
	return least, most, most >= least
}

// last gives the newest value, 0 if there is none.
func (c course) last() float64 {
	for i := len(c.mean) - 1; i >= 0; i-- {
		if !math.IsNaN(c.mean[i]) {
			return c.mean[i]
		}
	}
	return 0
}

// drawing is a chart to be drawn.
type drawing struct {
	size   size
	window window
	zone   *time.Location
	mean   []float64
	low    []float64 // of the band around it; nil: none
	high   []float64
	limits []limit
	marks  []mark
	label  string // for who does not see it
	from   float64
	to     float64 // of the upright axis
}

// limit is a line across.
type limit struct {
	value float64
	class string
}

// Colours by which the parts are found again in what the library draws; the
// style sheet gives them theirs.
var (
	colAxis  = charts.Color{R: 1, A: 255}
	colGrid  = charts.Color{R: 2, A: 255}
	colText  = charts.Color{R: 3, A: 255}
	colMean  = charts.Color{R: 10, A: 255}
	colLow   = charts.Color{R: 11, A: 255}
	colHigh  = charts.Color{R: 12, A: 255}
	colFirst = uint8(20) // of the limits
)

// draw makes the chart; left is the room before it, so that charts stand in
// one column. It gives where its axis begins.
func (d drawing) draw(left int) (picture template.HTML, axis int, err error) {
	theme := charts.ThemeOption{
		XAxisStrokeColor: colAxis, YAxisStrokeColor: colAxis, AxisSplitLineColor: colGrid, TextColor: colText,
		BackgroundColor: charts.Color{},
	}
	data := [][]float64{nulls(d.mean)}
	theme.SeriesColors = append(theme.SeriesColors, colMean)
	if d.low != nil {
		data = append(data, nulls(d.low), nulls(d.clipped()))
		theme.SeriesColors = append(theme.SeriesColors, colLow, colHigh)
	}
	for i, l := range d.limits {
		line := make([]float64, len(d.mean))
		for j := range line {
			line[j] = l.value
		}
		data = append(data, line)
		theme.SeriesColors = append(theme.SeriesColors, charts.Color{R: colFirst + uint8(i), A: 255})
	}
	option := charts.NewLineChartOptionWithData(data)
	option.Theme = charts.MakeTheme(theme)
	option.Padding = charts.Box{Top: 30, Right: 26, Bottom: 4, Left: left, IsSet: true}
	option.Symbol = charts.Symbol{Shape: charts.SymbolNone}
	option.LineStrokeWidth = 1.5
	option.Legend.Show = charts.Ptr(false)
	option.XAxis.Labels, option.XAxis.LabelCount, option.XAxis.BoundaryGap = d.labels(), d.size.labels, charts.Ptr(false)
	option.XAxis.LabelFontStyle.FontSize = chartText
	option.YAxis = []charts.YAxisOption{{
		Min: &d.from, Max: &d.to, LabelCount: 5, LabelFontStyle: charts.FontStyle{FontSize: chartText},
		ValueFormatter: func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) },
	}}
	painter := charts.NewPainter(charts.PainterOptions{OutputFormat: charts.ChartOutputSVG, Width: d.size.wide, Height: d.size.high})
	if err := painter.LineChart(option); err != nil {
		return "", 0, fmt.Errorf("chart: %w", err)
	}
	svg, err := painter.Bytes()
	if err != nil {
		return "", 0, fmt.Errorf("chart: %w", err)
	}
	return d.dress(string(svg))
}

// nulls writes what is not there as the library wants it.
func nulls(list []float64) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		if out[i] = v; math.IsNaN(v) {
			out[i] = charts.GetNullValue()
		}
	}
	return out
}

// clipped is the band's upper edge within the picture: an interval is wide
// after a start.
func (d drawing) clipped() []float64 {
	out := make([]float64, len(d.high))
	for i, v := range d.high {
		out[i] = math.Min(v, d.to)
	}
	return out
}

func (d drawing) labels() []string {
	list := make([]string, len(d.mean))
	for i := range list {
		list[i] = d.window.label(d.window.From.Add(time.Duration(i)*d.window.Step), d.zone)
	}
	return list
}

// upright gives the end of an axis in four even parts that holds a value.
func upright(most float64) float64 {
	if !(most > 0) {
		return 4
	}
	part := math.Pow(10, math.Floor(math.Log10(most/4)))
	for _, times := range []float64{1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10} {
		if part*times*4 >= most {
			return part * times * 4
		}
	}
	return part * 40
}

// glandCharts are the pictures of a gland's view.
type glandCharts struct {
	Window               window
	Again                int // seconds until they are worth fetching again; 0: they do not change
	From, To             string
	Weep, Rise           template.HTML
	Nothing              bool // no history in this time
	CSV, Fixed           string
	Earlier, Later       string
	In, Out              string
	Slices               []link
	Band, Limit          string
	Marks                []mark
	Spans                []link
	HasRest, HasInterval bool
}

func (s *Server) chartsOf(ctx context.Context, st *station, g row, w window, marks []mark) (*glandCharts, error) {
	dpm, err := s.course(ctx, g.ID, agent.SeriesDPM, w)
	if err != nil {
		return nil, err
	}
	sure, err := s.course(ctx, g.ID, agent.SeriesDPM95, w)
	if err != nil {
		return nil, err
	}
	rise, err := s.course(ctx, g.ID, agent.SeriesRise, w)
	if err != nil {
		return nil, err
	}
	rest, err := s.course(ctx, g.ID, agent.SeriesRest, w)
	if err != nil {
		return nil, err
	}
	resting := restMarks(rest, w)
	v := s.chartFrame(g, w, st)
	v.Marks, v.HasRest = marks, len(resting) > 0
	all := append(resting, marks...)
	b := bandOf(*g.gland)
	weep := s.weepDrawing(dpm, sure, b, w)
	heat := s.riseDrawing(rise, b, w)
	weep.marks, heat.marks = all, all
	_, _, some := dpm.extremes()
	_, _, warm := rise.extremes()
	_, _, v.HasInterval = sure.extremes()
	if v.Nothing = !some && !warm; v.Nothing {
		return v, nil
	}
	for _, one := range sizes {
		weep.size, heat.size = one, one
		up, low, err := column(weep, heat)
		if err != nil {
			return nil, err
		}
		v.Weep, v.Rise = v.Weep+up, v.Rise+low
	}
	return v, nil
}

func (s *Server) chartFrame(g row, w window, st *station) *glandCharts {
	b := bandOf(*g.gland)
	v := &glandCharts{
		Window: w, From: full(w.From.In(s.parts.Zone)), To: full(w.To.In(s.parts.Zone)),
		Fixed: w.query(), Earlier: w.move(-0.5, -0.5), In: w.move(0.25, -0.25), Out: w.move(-0.5, 0.5), Slices: w.slices(s.parts.Zone),
		Band: s.texts.say("row.allowed", short(b.dry), rate(b.leak)), Limit: short(b.rise),
	}
	if w.Span != "" {
		v.Again = int(max(w.Step, time.Minute) / time.Second)
	}
	if w.To.Before(st.now) {
		v.Later = w.move(0.5, 0.5)
	}
	for _, span := range spans {
		v.Spans = append(v.Spans, link{span.Name, "span=" + span.Name})
	}
	return v
}

// column draws two charts so that their axes begin below each other.
func column(upper, lower drawing) (up, low template.HTML, err error) {
	const room = 8
	up, a, err := upper.draw(room)
	if err != nil {
		return "", "", err
	}
	low, b, err := lower.draw(room)
	switch {
	case err != nil:
	case a < b:
		up, _, err = upper.draw(room + b - a)
	case b < a:
		low, _, err = lower.draw(room + a - b)
	}
	return up, low, err
}

func (s *Server) weepDrawing(dpm, sure course, b band, w window) drawing {
	d := drawing{
		window: w, zone: s.parts.Zone, mean: dpm.mean, low: sure.low, high: sure.high,
		limits: []limit{{b.dry, "dry"}, {b.leak, "leak"}},
	}
	least, most, known := dpm.extremes()
	d.to = upright(1.2 * max(b.leak, most))
	d.label = s.texts.say("chart.weep.none", d.span())
	if known {
		d.label = s.texts.say("chart.weep", d.span(), rate(least), rate(most), rate(dpm.last()), short(b.dry), rate(b.leak))
	}
	return d
}

func (s *Server) riseDrawing(rise course, b band, w window) drawing {
	d := drawing{window: w, zone: s.parts.Zone, mean: rise.mean, low: rise.low, high: rise.high, limits: []limit{{b.rise, "rise"}}}
	least, most, known := rise.extremes()
	d.label = s.texts.say("chart.rise.none", d.span())
	d.to = upright(1.2 * b.rise)
	if known {
		d.to = upright(1.2 * max(b.rise, most))
		if least < 0 {
			d.from = -upright(-least)
		}
		d.label = s.texts.say("chart.rise", d.span(), celsius(least), celsius(most), celsius(rise.last()), short(b.rise))
	}
	return d
}

func (d drawing) span() string {
	return d.window.From.In(d.zone).Format("2006-01-02 15:04") + "–" + d.window.To.In(d.zone).Format("2006-01-02 15:04 MST")
}
