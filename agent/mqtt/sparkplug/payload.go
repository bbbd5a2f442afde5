// Package sparkplug is the payload of Sparkplug B 3.0 and its topics, as far as
// an edge node needs them. Field numbers and datatypes are those of the
// specification's chapter 6 (Eclipse Sparkplug 3.0.0, "Google Protocol Buffers
// Schema"); clauses are named by their tck-id.
package sparkplug

import (
	"errors"
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
)

// Datatype is the kind of a metric's value.
type Datatype uint32

// The datatypes in use here; the numbers are the specification's.
const (
	Int64   Datatype = 4
	Double  Datatype = 10
	Boolean Datatype = 11
	String  Datatype = 12
)

// Fields of a payload and of a metric.
const (
	payloadTimestamp protowire.Number = 1
	payloadMetrics   protowire.Number = 2
	payloadSeq       protowire.Number = 3

	metricName       protowire.Number = 1
	metricAlias      protowire.Number = 2
	metricTimestamp  protowire.Number = 3
	metricDatatype   protowire.Number = 4
	metricHistorical protowire.Number = 5
	metricNull       protowire.Number = 7
	metricLong       protowire.Number = 11
	metricDouble     protowire.Number = 13
	metricBoolean    protowire.Number = 14
	metricString     protowire.Number = 15
)

// Payload is one message.
type Payload struct {
	Time    time.Time // when it was sent; zero: absent, as in a will
	Metrics []Metric
	Seq     *uint8 // absent in a death of the node
}

// Metric is one value. A nil Value is null: known to be unknown.
type Metric struct {
	Name       string // absent where the alias stands for it
	Alias      uint64 // 0: none
	Time       time.Time
	Datatype   Datatype // 0: absent, as it may be in data
	Historical bool
	Value      any // int64, float64, bool or string
}

// Append encodes the payload after b.
func (p Payload) Append(b []byte) []byte {
	if !p.Time.IsZero() {
		b = protowire.AppendTag(b, payloadTimestamp, protowire.VarintType)
		b = protowire.AppendVarint(b, millis(p.Time))
	}
	var one []byte
	for _, m := range p.Metrics {
		one = m.append(one[:0])
		b = protowire.AppendTag(b, payloadMetrics, protowire.BytesType)
		b = protowire.AppendBytes(b, one)
	}
	if p.Seq != nil {
		b = protowire.AppendTag(b, payloadSeq, protowire.VarintType)
		b = protowire.AppendVarint(b, uint64(*p.Seq))
	}
	return b
}

func (m Metric) append(b []byte) []byte {
	if m.Name != "" {
		b = protowire.AppendTag(b, metricName, protowire.BytesType)
		b = protowire.AppendString(b, m.Name)
	}
	varint := func(field protowire.Number, v uint64) {
		b = protowire.AppendTag(b, field, protowire.VarintType)
		b = protowire.AppendVarint(b, v)
	}
	if m.Alias != 0 {
		varint(metricAlias, m.Alias)
	}
	if !m.Time.IsZero() {
		varint(metricTimestamp, millis(m.Time))
	}
	if m.Datatype != 0 {
		varint(metricDatatype, uint64(m.Datatype))
	}
	if m.Historical {
		varint(metricHistorical, 1)
	}
	switch v := m.Value.(type) {
	case int64:
		varint(metricLong, uint64(v))
	case float64:
		b = protowire.AppendTag(b, metricDouble, protowire.Fixed64Type)
		b = protowire.AppendFixed64(b, math.Float64bits(v))
	case bool:
		varint(metricBoolean, protowire.EncodeBool(v))
	case string:
		b = protowire.AppendTag(b, metricString, protowire.BytesType)
		b = protowire.AppendString(b, v)
	default:
		varint(metricNull, 1)
	}
	return b
}

// millis is UTC in milliseconds since 1970 (tck-id-payloads-timestamp-in-UTC).
func millis(t time.Time) uint64 { return uint64(max(t.UnixMilli(), 0)) }

// ErrMalformed is what Decode wraps.
var ErrMalformed = errors.New("no Sparkplug B payload")

// Decode reads a payload. Fields and values that an edge node does not use are
// skipped.
func Decode(data []byte) (Payload, error) {
	var p Payload
	err := fields(data, func(field protowire.Number, v uint64, bytes []byte) error {
		switch field {
		case payloadTimestamp:
			p.Time = time.UnixMilli(int64(v)).UTC()
		case payloadSeq:
			seq := uint8(v)
			p.Seq = &seq
		case payloadMetrics:
			m, err := decodeMetric(bytes)
			p.Metrics = append(p.Metrics, m)
			return err
		default: // not read here
		}
		return nil
	})
	return p, err
}

func decodeMetric(data []byte) (Metric, error) {
	var m Metric
	null := false
	err := fields(data, func(field protowire.Number, v uint64, bytes []byte) error {
		switch field {
		case metricName:
			m.Name = string(bytes)
		case metricAlias:
			m.Alias = v
		case metricTimestamp:
			m.Time = time.UnixMilli(int64(v)).UTC()
		case metricDatatype:
			m.Datatype = Datatype(v)
		case metricHistorical:
			m.Historical = protowire.DecodeBool(v)
		case metricNull:
			null = protowire.DecodeBool(v)
		case metricLong:
			m.Value = int64(v)
		case metricDouble:
			m.Value = math.Float64frombits(v)
		case metricBoolean:
			m.Value = protowire.DecodeBool(v)
		case metricString:
			m.Value = string(bytes)
		default: // not read here
		}
		return nil
	})
	if null {
		m.Value = nil
	}
	return m, err
}

// fields hands each field to take: its number for numbers, its bytes for bytes.
func fields(data []byte, take func(field protowire.Number, v uint64, bytes []byte) error) error {
	for len(data) > 0 {
		field, kind, n := protowire.ConsumeTag(data)
		if n < 0 {
			return fmt.Errorf("%w: %w", ErrMalformed, protowire.ParseError(n))
		}
		data = data[n:]
		var v uint64
		var bytes []byte
		switch kind {
		case protowire.VarintType:
			v, n = protowire.ConsumeVarint(data)
		case protowire.Fixed64Type:
			v, n = protowire.ConsumeFixed64(data)
		case protowire.BytesType:
			bytes, n = protowire.ConsumeBytes(data)
		default: // not of this schema, or not read here
			n = protowire.ConsumeFieldValue(field, kind, data)
			field = 0
		}
		if n < 0 {
			return fmt.Errorf("%w: field %d: %w", ErrMalformed, field, protowire.ParseError(n))
		}
		data = data[n:]
		if err := take(field, v, bytes); err != nil {
			return err
		}
	}
	return nil
}
