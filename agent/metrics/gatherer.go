package metrics

import (
	"errors"
	"slices"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	dto "github.com/prometheus/client_model/go"
)

// gatherer gives the station's series beside those of the Go runtime and the process.
// It does not look, as a registry would at each scrape, whether series are consistent
// and unique: that they are, the tests see to. That is most of what a scrape costs.
type gatherer struct {
	others *prometheus.Registry
	names  named
	own    []source
}

// source gives series.
type source interface{ collect(out sink) }

// New gives the station's, the Go runtime's and the process's metrics.
func New(parts Parts) (prometheus.Gatherer, error) {
	g := &gatherer{others: prometheus.NewRegistry(), names: make(named)}
	g.own = []source{
		&collector{parts: parts, d: newDescs(g.names)},
		newCertificates(g.names, parts.Certificates),
		newLimits(g.names, parts.Latest),
	}
	return g, errors.Join(
		g.others.Register(collectors.NewGoCollector()),
		g.others.Register(collectors.NewProcessCollector(collectors.ProcessCollectorOpts{})),
	)
}

// Gather implements prometheus.Gatherer.
func (g *gatherer) Gather() ([]*dto.MetricFamily, error) {
	all, err := g.others.Gather()
	families := make(map[*prometheus.Desc]*dto.MetricFamily, len(g.names))
	out := sink{func(m prometheus.Metric) {
		one, failed := asWritten(m)
		if failed != nil {
			err = errors.Join(err, failed)
			return
		}
		f, known := families[m.Desc()]
		if !known {
			f = g.family(m.Desc(), one)
			families[m.Desc()] = f
			all = append(all, f)
		}
		f.Metric = append(f.Metric, one)
	}}
	for _, s := range g.own {
		s.collect(out)
	}
	slices.SortFunc(all, func(a, b *dto.MetricFamily) int { return strings.Compare(a.GetName(), b.GetName()) })
	return all, err
}

func asWritten(m prometheus.Metric) (*dto.Metric, error) {
	if w, ready := m.(writtenMetric); ready {
		return w.as, nil
	}
	one := new(dto.Metric)
	return one, m.Write(one)
}

// family is that of a description, of the type of its first metric.
func (g *gatherer) family(d *prometheus.Desc, first *dto.Metric) *dto.MetricFamily {
	kind := dto.MetricType_GAUGE
	if first.GetCounter() != nil {
		kind = dto.MetricType_COUNTER
	}
	f := g.names[d]
	return &dto.MetricFamily{Name: &f.name, Help: &f.help, Type: &kind}
}
