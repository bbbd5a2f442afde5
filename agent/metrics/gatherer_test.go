package metrics

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"weepd/agent"
)

// strictly collects what a registry that checks everything is to accept.
type strictly struct {
	names named
	from  source
}

func (s strictly) Describe(ch chan<- *prometheus.Desc) {
	for d := range s.names {
		ch <- d
	}
}

func (s strictly) Collect(ch chan<- prometheus.Metric) {
	s.from.collect(sink{func(m prometheus.Metric) { ch <- m }})
}

type all []source

func (a all) collect(out sink) {
	for _, s := range a {
		s.collect(out)
	}
}

// What is gathered without checks is what a registry gives that checks everything,
// also when it is gathered again and when alarms have changed since.
func TestGatheredSeriesAreConsistent(t *testing.T) {
	snap := snapshot()
	parts := Parts{
		Latest: func() *agent.Snapshot { return snap }, Queue: queues{}, Outbox: queues{}, Publisher: func() Publisher { return queues{} },
		Store: queues{}, Version: "1.2",
	}
	made, err := New(parts)
	if err != nil {
		t.Fatal(err)
	}
	g := made.(*gatherer)
	registry := prometheus.NewPedanticRegistry()
	if err := registry.Register(strictly{g.names, all(g.own)}); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		want, err := registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		got, err := g.Gather()
		if err != nil {
			t.Fatal(err)
		}
		if !slices.IsSortedFunc(got, func(a, b *dto.MetricFamily) int { return strings.Compare(a.GetName(), b.GetName()) }) {
			t.Error("families are not sorted")
		}
		got = slices.DeleteFunc(got, func(f *dto.MetricFamily) bool { return !strings.HasPrefix(f.GetName(), "weepd_") })
		if lines(got) != lines(want) {
			t.Errorf("gathered\n%s\nwant\n%s", lines(got), lines(want))
		}
		if i == 1 {
			next := *snap
			next.Alarms = slices.Clone(snap.Alarms)
			next.Alarms[1].State = agent.StateActive
			snap = &next
		}
	}
}

func lines(families []*dto.MetricFamily) string {
	var all []string
	for _, f := range families {
		for _, m := range f.GetMetric() {
			all = append(all, fmt.Sprint(f.GetName(), f.GetHelp(), f.GetType(), m))
		}
	}
	slices.Sort(all)
	return strings.Join(all, "\n")
}
