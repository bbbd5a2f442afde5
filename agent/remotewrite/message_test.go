package remotewrite

import (
	"math"
	"slices"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"pgregory.net/rapid"
)

// schema is the part of prometheus/prompb (remote write 1.0) that is used here.
const schema = `
name: "remote.proto" package: "p" syntax: "proto3"
message_type { name: "WriteRequest" field { name: "timeseries" number: 1 type: TYPE_MESSAGE type_name: ".p.TimeSeries" label: LABEL_REPEATED } }
message_type { name: "TimeSeries"
  field { name: "labels" number: 1 type: TYPE_MESSAGE type_name: ".p.Label" label: LABEL_REPEATED }
  field { name: "samples" number: 2 type: TYPE_MESSAGE type_name: ".p.Sample" label: LABEL_REPEATED } }
message_type { name: "Label"
  field { name: "name" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL }
  field { name: "value" number: 2 type: TYPE_STRING label: LABEL_OPTIONAL } }
message_type { name: "Sample"
  field { name: "value" number: 1 type: TYPE_DOUBLE label: LABEL_OPTIONAL }
  field { name: "timestamp" number: 2 type: TYPE_INT64 label: LABEL_OPTIONAL } }`

func reference(t testing.TB) protoreflect.MessageDescriptor {
	t.Helper()
	var file descriptorpb.FileDescriptorProto
	if err := prototext.Unmarshal([]byte(schema), &file); err != nil {
		t.Fatal(err)
	}
	d, err := protodesc.NewFile(&file, nil)
	if err != nil {
		t.Fatal(err)
	}
	return d.Messages().ByName("WriteRequest")
}

func gauge(name string, value float64, labels ...string) *dto.MetricFamily {
	m := &dto.Metric{Gauge: &dto.Gauge{Value: &value}}
	for i := 0; i < len(labels); i += 2 {
		m.Label = append(m.Label, &dto.LabelPair{Name: &labels[i], Value: &labels[i+1]})
	}
	return &dto.MetricFamily{Name: &name, Metric: []*dto.Metric{m}}
}

// What is encoded here, the reference implementation of Protocol Buffers reads
// with Prometheus' schema; two messages one after the other are one.
func TestMessageAgainstProtobuf(t *testing.T) {
	b := &builder{station: "quarry"}
	at := time.UnixMilli(1785000000123)
	first := b.build([]*dto.MetricFamily{
		gauge("weepd_gland_drops_per_minute", 30.5, "gland", "p1-de"), gauge("go_goroutines", 9), gauge("weepd_a", 1, "a", "x"),
	}, at)
	second := b.build([]*dto.MetricFamily{gauge("weepd_a", 2, "a", "x")}, at.Add(time.Minute))
	d := reference(t)
	got, want := dynamicpb.NewMessage(d), dynamicpb.NewMessage(d)
	if err := proto.Unmarshal(slices.Concat(first.body, second.body), got); err != nil {
		t.Fatal(err)
	}
	const own = `labels {name:"instance" value:"quarry"} labels {name:"job" value:"weepd"} labels {name:"station" value:"quarry"}`
	if err := prototext.Unmarshal([]byte(`
		timeseries { labels {name:"__name__" value:"weepd_gland_drops_per_minute"} labels {name:"gland" value:"p1-de"} `+own+` samples {value:30.5 timestamp:1785000000123} }
		timeseries { labels {name:"__name__" value:"weepd_a"} labels {name:"a" value:"x"} `+own+` samples {value:1 timestamp:1785000000123} }
		timeseries { labels {name:"__name__" value:"weepd_a"} labels {name:"a" value:"x"} `+own+` samples {value:2 timestamp:1785000060123} }`), want); err != nil {
		t.Fatal(err)
	}
	series := got.Get(d.Fields().ByName("timeseries")).List()
	if series.Len() != 4 {
		t.Fatalf("%d series, want four: the reading that is gone has a last sample", series.Len())
	}
	last := series.Get(3).Message()
	sample := last.Get(last.Descriptor().Fields().ByName("samples")).List().Get(0).Message()
	if bits := math.Float64bits(sample.Get(sample.Descriptor().Fields().ByName("value")).Float()); bits != 0x7ff0000000000002 {
		t.Errorf("the last sample is %#x", bits)
	}
	series.Truncate(3)
	if !proto.Equal(got, want) {
		t.Errorf("got %v,\nwant %v", got, want)
	}
}

func TestFilesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOf(rapid.Custom(func(t *rapid.T) instant {
			return instant{time.UnixMilli(rapid.Int64Range(0, 1<<45).Draw(t, "at")).UTC(), rapid.SliceOfN(rapid.Byte(), 1, 50).Draw(t, "body")}
		})).Draw(t, "list")
		text := encode(list)
		cut := rapid.IntRange(0, len(text)).Draw(t, "cut")
		got := decode(text[:cut])
		if len(got) > len(list) || cut == len(text) && len(got) != len(list) {
			t.Fatalf("%d of %d records", len(got), len(list))
		}
		for i, g := range got {
			if !g.at.Equal(list[i].at) || string(g.body) != string(list[i].body) {
				t.Fatalf("record %d changed", i)
			}
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add(encode([]instant{{time.UnixMilli(1), []byte("body")}}))
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, i := range decode(text) {
			if len(i.body) > mostBody {
				t.Error("larger than the bound")
			}
		}
	})
}
