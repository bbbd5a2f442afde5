package page

import (
	"context"
	"html/template"
	"slices"
	"time"

	"weepd/agent"
)

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
	all := slices.Concat(resting, marks)
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
