package page

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"time"

	"github.com/go-analyze/charts"
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
