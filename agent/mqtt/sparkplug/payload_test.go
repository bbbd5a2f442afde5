package sparkplug

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"pgregory.net/rapid"
)

// schema is the part of the specification's sparkplug_b.proto (3.0.0, chapter
// 6) that is used here, in the words of a descriptor.
const schema = `
name: "sparkplug_b.proto" package: "p" syntax: "proto2"
message_type { name: "Payload"
  field { name: "timestamp" number: 1 type: TYPE_UINT64 label: LABEL_OPTIONAL }
  field { name: "metrics" number: 2 type: TYPE_MESSAGE type_name: ".p.Payload.Metric" label: LABEL_REPEATED }
  field { name: "seq" number: 3 type: TYPE_UINT64 label: LABEL_OPTIONAL }
  field { name: "uuid" number: 4 type: TYPE_STRING label: LABEL_OPTIONAL }
  field { name: "body" number: 5 type: TYPE_BYTES label: LABEL_OPTIONAL }
  nested_type { name: "Metric"
    field { name: "name" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL }
    field { name: "alias" number: 2 type: TYPE_UINT64 label: LABEL_OPTIONAL }
    field { name: "timestamp" number: 3 type: TYPE_UINT64 label: LABEL_OPTIONAL }
    field { name: "datatype" number: 4 type: TYPE_UINT32 label: LABEL_OPTIONAL }
    field { name: "is_historical" number: 5 type: TYPE_BOOL label: LABEL_OPTIONAL }
    field { name: "is_transient" number: 6 type: TYPE_BOOL label: LABEL_OPTIONAL }
    field { name: "is_null" number: 7 type: TYPE_BOOL label: LABEL_OPTIONAL }
    field { name: "int_value" number: 10 type: TYPE_UINT32 label: LABEL_OPTIONAL oneof_index: 0 }
    field { name: "long_value" number: 11 type: TYPE_UINT64 label: LABEL_OPTIONAL oneof_index: 0 }
    field { name: "float_value" number: 12 type: TYPE_FLOAT label: LABEL_OPTIONAL oneof_index: 0 }
    field { name: "double_value" number: 13 type: TYPE_DOUBLE label: LABEL_OPTIONAL oneof_index: 0 }
    field { name: "boolean_value" number: 14 type: TYPE_BOOL label: LABEL_OPTIONAL oneof_index: 0 }
    field { name: "string_value" number: 15 type: TYPE_STRING label: LABEL_OPTIONAL oneof_index: 0 }
    oneof_decl { name: "value" } } }`

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
	return d.Messages().ByName("Payload")
}

// What is encoded here, the reference implementation of Protocol Buffers reads
// with the specification's schema, and the other way round.
func TestPayloadAgainstProtobuf(t *testing.T) {
	seq := uint8(255)
	at := time.UnixMilli(1785000000123).UTC()
	p := Payload{Time: at, Seq: &seq, Metrics: []Metric{
		{Name: "bdSeq", Time: at, Datatype: Int64, Value: int64(-3)},
		{Name: "dpm", Alias: 7, Time: at, Datatype: Double, Value: 30.25},
		{Alias: 300, Time: at, Historical: true, Value: true},
		{Name: "é", Datatype: String, Value: "drops"},
		{Name: "rise_c", Datatype: Double},
	}}
	want := `timestamp: 1785000000123 seq: 255
		metrics {name: "bdSeq" timestamp: 1785000000123 datatype: 4 long_value: 18446744073709551613}
		metrics {name: "dpm" alias: 7 timestamp: 1785000000123 datatype: 10 double_value: 30.25}
		metrics {alias: 300 timestamp: 1785000000123 is_historical: true boolean_value: true}
		metrics {name: "é" datatype: 12 string_value: "drops"}
		metrics {name: "rise_c" datatype: 10 is_null: true}`
	d := reference(t)
	expected, got := dynamicpb.NewMessage(d), dynamicpb.NewMessage(d)
	if err := prototext.Unmarshal([]byte(want), expected); err != nil {
		t.Fatal(err)
	}
	if err := proto.Unmarshal(p.Append(nil), got); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(got, expected) {
		t.Errorf("encoded %v,\nwant %v", got, expected)
	}
	if len(got.GetUnknown()) > 0 {
		t.Error("fields that the schema does not have")
	}
	wire, err := proto.Marshal(expected)
	if err != nil {
		t.Fatal(err)
	}
	back, err := Decode(wire)
	if err != nil || !reflect.DeepEqual(back, p) {
		t.Errorf("decoded %+v, %v,\nwant %+v", back, err, p)
	}
}

func TestPayloadRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		metric := rapid.Custom(func(t *rapid.T) Metric {
			return Metric{
				Name: rapid.String().Draw(t, "name"), Alias: rapid.Uint64().Draw(t, "alias"),
				Time:     time.UnixMilli(rapid.Int64Range(0, 1<<45).Draw(t, "at")).UTC(),
				Datatype: Datatype(rapid.Uint32().Draw(t, "datatype")), Historical: rapid.Bool().Draw(t, "historical"),
				Value: rapid.OneOf(
					rapid.Just[any](nil), rapid.Map(rapid.Int64(), func(v int64) any { return v }),
					rapid.Map(rapid.Float64(), func(v float64) any { return v }),
					rapid.Map(rapid.Bool(), func(v bool) any { return v }), rapid.Map(rapid.String(), func(v string) any { return v }),
				).Draw(t, "value"),
			}
		})
		seq := rapid.Uint8().Draw(t, "seq")
		p := Payload{Time: time.UnixMilli(rapid.Int64Range(0, 1<<45).Draw(t, "sent")).UTC(), Seq: &seq, Metrics: rapid.SliceOfN(metric, 1, 5).Draw(t, "metrics")}
		got, err := Decode(p.Append(nil))
		if err != nil || !reflect.DeepEqual(got, p) {
			t.Fatalf("%+v became %+v, %v", p, got, err)
		}
	})
}

func TestDecodeRefuses(t *testing.T) {
	seq := uint8(1)
	whole := Payload{Time: time.UnixMilli(1), Seq: &seq, Metrics: []Metric{{Name: "Node Control/Rebirth", Value: true}}}.Append(nil)
	refused := 0
	for n := range whole {
		if _, err := Decode(whole[:n]); err != nil {
			refused++
			if !errors.Is(err, ErrMalformed) {
				t.Errorf("cut to %d: %v", n, err)
			}
		}
	}
	if refused < len(whole)/2 {
		t.Errorf("only %d of %d cuts were refused", refused, len(whole))
	}
	if _, err := Decode([]byte(`{"json":true}`)); !errors.Is(err, ErrMalformed) {
		t.Errorf("JSON: %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	seq := uint8(1)
	f.Add(Payload{Time: time.UnixMilli(1), Seq: &seq, Metrics: []Metric{{Name: "Node Control/Rebirth", Value: true}, {Value: math.Pi}}}.Append(nil))
	f.Add([]byte{0x12, 0x02, 0x38, 0x01})
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode(data)
		if err != nil {
			return
		}
		once := p.Append(nil)
		again, err := Decode(once)
		if err != nil || !bytes.Equal(again.Append(nil), once) {
			t.Errorf("what was decoded is not encoded alike: %+v, %v", p, err)
		}
	})
}

func TestTopicsAndIDs(t *testing.T) {
	n := Node{"north", "quarry"}
	if got := n.Topic(NBirth, ""); got != "spBv1.0/north/NBIRTH/quarry" {
		t.Error(got)
	}
	if got := n.Topic(DData, "p1-de"); got != "spBv1.0/north/DDATA/quarry/p1-de" {
		t.Error(got)
	}
	if got := StateTopic("control"); got != "spBv1.0/STATE/control" {
		t.Error(got)
	}
	for id, want := range map[string]bool{"north": true, "été 1": true, "": false, "a/b": false, "a+": false, "#": false, "\xff": false, "a\x00": false} {
		if ValidID(id) != want {
			t.Errorf("id %q: valid %v", id, !want)
		}
	}
}

func TestState(t *testing.T) {
	s, err := ParseState([]byte(`{"online":true,"timestamp":1785000000123}`))
	if err != nil || !s.Online || s.Time.UnixMilli() != 1785000000123 {
		t.Errorf("%+v, %v", s, err)
	}
	for _, bad := range []string{"", "ONLINE", `{"online":true}`, `{"timestamp":1}`, `{"online":"yes","timestamp":1}`, `{"online":true,"timestamp":"x"}`} {
		if _, err := ParseState([]byte(bad)); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}
