package compare

import (
	"html/template"

	"github.com/go-analyze/charts"
)

// Colours of the report: told apart by lightness too, for print and for eyes
// that see few colours.
const (
	inkOld  = "#8a8f98"
	inkNew  = "#1f5fa8"
	inkBoth = "#2f3b47"
)

const (
	chartWidth = 860
	barHeight  = 34
	fontSize   = 10
)

// chartsOf draws what a comparison has.
func chartsOf(r Result) ([]chart, error) {
	var list []chart
	for _, draw := range []func(Result) (chart, error){drawLines, drawWeeks, drawPeriods} {
		c, err := draw(r)
		if err != nil {
			return nil, err
		}
		if c.SVG != "" {
			list = append(list, c)
		}
	}
	return list, nil
}

func drawLines(r Result) (chart, error) {
	if len(r.Lines) == 0 {
		return chart{}, nil
	}
	values := make([][]float64, 3)
	var labels []string
	for i := len(r.Lines) - 1; i >= 0; i-- { // the lowest bar is drawn first
		l := r.Lines[i]
		values[0] = append(values[0], float64(l.Both))
		values[1] = append(values[1], float64(l.OnlyOld))
		values[2] = append(values[2], float64(l.OnlyNew))
		labels = append(labels, l.Gland+" "+l.Condition+"\u00a0\u00a0") // off the axis
	}
	svg, err := bars(values, labels, []string{"in both", "only old", "only new"}, []string{inkBoth, inkOld, inkNew},
		100+barHeight*len(labels), true)
	return chart{"Alarms by gland and condition", "", svg}, err
}

func drawWeeks(r Result) (chart, error) {
	if len(r.Weeks) < 2 {
		return chart{}, nil
	}
	values := make([][]float64, 2)
	var labels []string
	for _, k := range r.Weeks {
		values[0] = append(values[0], float64(k.Old))
		values[1] = append(values[1], float64(k.New))
		labels = append(labels, k.Monday)
	}
	svg, err := bars(values, labels, []string{"old", "new"}, []string{inkOld, inkNew}, 280, false)
	return chart{"Alarms a week", "Weeks begin on Monday, " + r.Zone + ".", svg}, err
}

func drawPeriods(r Result) (chart, error) {
	if r.OldLoad.Alarms+r.NewLoad.Alarms == 0 {
		return chart{}, nil
	}
	values := make([][]float64, 2)
	for class := 1; class < len(r.OldLoad.Periods); class++ {
		values[0] = append(values[0], float64(r.OldLoad.Periods[class]))
		values[1] = append(values[1], float64(r.NewLoad.Periods[class]))
	}
	svg, err := bars(values, PeriodClasses()[1:], []string{"old", "new"}, []string{inkOld, inkNew}, 260, false)
	return chart{"Ten-minute periods by their alarms", "Periods without any alarm are left out.", svg}, err
}

// bars draws grouped columns, or stacked bars that lie.
func bars(values [][]float64, labels, names, colours []string, height int, lying bool) (template.HTML, error) {
	opt := charts.NewBarChartOptionWithData(values)
	opt.Theme = theme(colours)
	opt.Padding = charts.NewBoxEqual(12)
	opt.CategoryAxis.Labels = labels
	opt.CategoryAxis.LabelCount = len(labels)
	opt.CategoryAxis.LabelFontStyle = charts.NewFontStyleWithSize(fontSize)
	opt.Legend.FontStyle = charts.NewFontStyleWithSize(fontSize)
	opt.BarSize = 0.7
	if !lying {
		opt.BarSize = 0.5
		opt.CategoryAxis.LabelCount = min(len(labels), 9)
	}
	opt.Legend.SeriesNames = names
	opt.Legend.Symbol = charts.SymbolSquare
	opt.Horizontal, opt.StackSeries = lying, charts.Ptr(lying)
	highest := 1.0
	for i := range labels {
		sum := 0.0
		for _, series := range values {
			if lying {
				sum += series[i]
			} else {
				sum = max(sum, series[i])
			}
		}
		highest = max(highest, sum)
	}
	axis := charts.ValueAxisOption{Min: charts.Ptr(0.0), SplitLineShow: charts.Ptr(true), ValueFormatter: whole, LabelFontStyle: charts.NewFontStyleWithSize(fontSize)}
	if highest < 5 { // else the axis has halves of alarms
		axis.Max, axis.LabelCount = charts.Ptr(highest), int(highest)+1
	}
	opt.ValueAxis = []charts.ValueAxisOption{axis}
	opt.ValueFormatter = whole
	p := charts.NewPainter(charts.PainterOptions{OutputFormat: charts.ChartOutputSVG, Width: chartWidth, Height: height})
	if err := p.BarChart(opt); err != nil {
		return "", err
	}
	svg, err := p.Bytes()
	return template.HTML(svg), err // the library escapes the labels
}

func whole(v float64) string { return charts.FormatValueHumanize(v, 0, false) }

func theme(colours []string) charts.ColorPalette {
	ink := charts.ColorFromHex("#2f3b47")
	opt := charts.ThemeOption{
		AxisStrokeColor: charts.ColorFromHex("#9aa3ad"), AxisSplitLineColor: charts.ColorFromHex("#e2e6ea"),
		BackgroundColor: charts.ColorFromHex("#ffffff"), TextColor: ink,
		TextColorTitle: ink, TextColorMark: ink, TextColorLabel: ink, TextColorLegend: ink, TextColorXAxis: ink, TextColorYAxis: ink,
	}
	for _, c := range colours {
		opt.SeriesColors = append(opt.SeriesColors, charts.ColorFromHex(c))
	}
	return charts.MakeTheme(opt)
}
