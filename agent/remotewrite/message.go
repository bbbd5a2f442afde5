package remotewrite

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	dto "github.com/prometheus/client_model/go"
	"google.golang.org/protobuf/encoding/protowire"
)

// Fields of the message (prometheus/prompb, remote.proto and types.proto of
// remote write 1.0): WriteRequest.timeseries, TimeSeries.labels and samples,
// Label.name and value, Sample.value and timestamp.
const (
	requestSeries   protowire.Number = 1
	seriesLabels    protowire.Number = 1
	seriesSamples   protowire.Number = 2
	labelName       protowire.Number = 1
	labelValue      protowire.Number = 2
	sampleValue     protowire.Number = 1
	sampleTimestamp protowire.Number = 2
)

// staleBits is the value that says that a series has ended (prometheus,
// model/value: StaleNaN).
const staleBits = 0x7ff0000000000002

// instant is all samples of one moment as a message. Messages that are put one
// after the other are a message too: Protocol Buffers join repeated fields.
type instant struct {
	at   time.Time
	body []byte
}

// builder makes instants and remembers which series there were, to say which
// have ended: a reading that is not good has no series.
type builder struct {
	station string
	before  map[string]bool // encoded labels of the last instant
}

// build takes the families of our own; those of the runtime stay here, for the
// sake of metered links.
func (b *builder) build(families []*dto.MetricFamily, at time.Time) instant {
	now := make(map[string]bool)
	out := instant{at: at}
	for _, f := range families {
		if !strings.HasPrefix(f.GetName(), "weepd_") {
			continue
		}
		for _, m := range f.GetMetric() {
			value, ok := valueOf(m)
			if !ok {
				continue
			}
			labels := b.labels(f.GetName(), m.GetLabel())
			now[string(labels)] = true
			out.add(labels, math.Float64bits(value))
		}
	}
	for labels := range b.before {
		if !now[labels] {
			out.add([]byte(labels), staleBits)
		}
	}
	b.before = now
	return out
}

func valueOf(m *dto.Metric) (float64, bool) {
	switch {
	case m.Gauge != nil:
		return m.GetGauge().GetValue(), true
	case m.Counter != nil:
		return m.GetCounter().GetValue(), true
	}
	return 0, false
}

// labels encodes a series' labels in order of name, as the protocol wants them.
func (b *builder) labels(name string, given []*dto.LabelPair) []byte {
	type label struct{ name, value string }
	list := []label{{"__name__", name}, {"instance", b.station}, {"job", "weepd"}, {"station", b.station}}
	for _, l := range given {
		list = append(list, label{l.GetName(), l.GetValue()})
	}
	slices.SortFunc(list, func(a, b label) int { return cmp.Compare(a.name, b.name) })
	var out, one []byte
	for _, l := range list {
		one = appendText(one[:0], labelName, l.name)
		one = appendText(one, labelValue, l.value)
		out = appendText(out, seriesLabels, string(one))
	}
	return out
}

func (i *instant) add(labels []byte, value uint64) {
	sample := protowire.AppendTag(nil, sampleValue, protowire.Fixed64Type)
	sample = protowire.AppendFixed64(sample, value)
	sample = protowire.AppendTag(sample, sampleTimestamp, protowire.VarintType)
	sample = protowire.AppendVarint(sample, uint64(i.at.UnixMilli()))
	series := appendText(slices.Clone(labels), seriesSamples, string(sample))
	i.body = appendText(i.body, requestSeries, string(series))
}

func appendText(b []byte, field protowire.Number, text string) []byte {
	return protowire.AppendString(protowire.AppendTag(b, field, protowire.BytesType), text)
}
