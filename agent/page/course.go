package page

import (
	"context"
	"math"
)

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
