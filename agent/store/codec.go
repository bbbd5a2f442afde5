package store

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"math/bits"
	"time"

	"weepd/rules/reading"
)

// value is one reading of a known point.
type value struct {
	at      time.Duration
	value   float64
	quality reading.Quality
}

// How a reading's value is written; the quality stands in the upper six bits
// of the same byte.
const (
	sameValue  = 0 // as the one before
	smallCount = 1 // a whole number, as a varint
	otherValue = 2 // XOR with the one before, bytes reversed, as a varint
	codeBits   = 2
)

const codecVersion = 1

// encodeValues packs readings without loss: about 6 bytes a drop. Times must
// not go back.
func encodeValues(list []value) []byte {
	data := binary.AppendVarint([]byte{codecVersion}, int64(list[0].at))
	at, before := list[0].at, uint64(0)
	for _, v := range list {
		data = binary.AppendUvarint(data, uint64(v.at-at))
		at = v.at
		tag := byte(v.quality) << codeBits
		b := math.Float64bits(v.value)
		switch {
		case b == before:
			data = append(data, tag|sameValue)
		case v.value > 0 && v.value < 1<<14 && v.value == math.Trunc(v.value):
			data = binary.AppendUvarint(append(data, tag|smallCount), uint64(v.value))
		default:
			data = binary.AppendUvarint(append(data, tag|otherValue), bits.ReverseBytes64(b^before))
		}
		before = b
	}
	return seal(data)
}

func decodeValues(data []byte) ([]value, error) {
	d, err := unseal(data)
	if err != nil {
		return nil, err
	}
	at, before := time.Duration(d.varint()), uint64(0)
	var list []value
	for len(d.rest) > 0 && !d.bad {
		at += time.Duration(d.uvarint())
		tag := d.byte()
		switch tag & (1<<codeBits - 1) {
		case sameValue:
		case smallCount:
			before = math.Float64bits(float64(d.uvarint()))
		case otherValue:
			before ^= bits.ReverseBytes64(d.uvarint())
		default:
			d.bad = true
		}
		list = append(list, value{at, math.Float64frombits(before), reading.Quality(tag >> codeBits)})
	}
	return list, d.err()
}

// scale is the resolution of stored minutes and hours: 1/100 of the unit.
const scale = 100

// aggregate is a minute or an hour of a series, by its number since 1970.
type aggregate struct {
	index          int64
	n              uint64 // how many values
	min, mean, max float64
}

func (a aggregate) with(b aggregate) aggregate {
	n := a.n + b.n
	mean := a.mean + (b.mean-a.mean)*float64(b.n)/float64(n)
	return aggregate{a.index, n, min(a.min, b.min), mean, max(a.max, b.max)}
}

// encodeAggregates packs minutes or hours, about 6 bytes each, in order of
// index, rounded to 1/scale.
func encodeAggregates(list []aggregate) []byte {
	data := binary.AppendVarint([]byte{codecVersion}, list[0].index)
	index, before := list[0].index, int64(0)
	for _, a := range list {
		data = binary.AppendUvarint(data, uint64(a.index-index))
		index = a.index
		data = binary.AppendUvarint(data, a.n)
		least, mean, most := scaled(a.min), scaled(a.mean), scaled(a.max)
		mean = min(max(mean, least), most) // a mean's own rounding error
		data = binary.AppendVarint(data, mean-before)
		data = binary.AppendUvarint(data, uint64(mean-least))
		data = binary.AppendUvarint(data, uint64(most-mean))
		before = mean
	}
	return seal(data)
}

func decodeAggregates(data []byte) ([]aggregate, error) {
	d, err := unseal(data)
	if err != nil {
		return nil, err
	}
	index, mean := d.varint(), int64(0)
	var list []aggregate
	for len(d.rest) > 0 && !d.bad {
		index += int64(d.uvarint())
		n := d.uvarint()
		mean += d.varint()
		least, most := mean-int64(d.uvarint()), mean+int64(d.uvarint())
		list = append(list, aggregate{index, n, float64(least) / scale, float64(mean) / scale, float64(most) / scale})
	}
	return list, d.err()
}

// scaled rounds to the stored resolution; what is beyond 1e12 is not believed.
func scaled(v float64) int64 {
	return int64(math.Round(min(max(v, -1e12), 1e12) * scale))
}

// seal puts the check sum at the end.
func seal(data []byte) []byte {
	return binary.BigEndian.AppendUint32(data, crc32.Checksum(data, castagnoli))
}

func unseal(data []byte) (*decoder, error) {
	if len(data) < 5 {
		return nil, fmt.Errorf("%w: a stretch of history has %d bytes", ErrCorrupt, len(data))
	}
	body := data[:len(data)-4]
	if crc32.Checksum(body, castagnoli) != binary.BigEndian.Uint32(data[len(body):]) {
		return nil, fmt.Errorf("%w: the check sum of a stretch of history is wrong", ErrCorrupt)
	}
	if body[0] != codecVersion {
		return nil, fmt.Errorf("%w: a stretch of history has format %d", ErrNewer, body[0])
	}
	return &decoder{rest: body[1:]}, nil
}

// decoder reads varints; after the end it yields zeros and is bad.
type decoder struct {
	rest []byte
	bad  bool
}

func (d *decoder) take(n int) {
	if n <= 0 {
		d.bad, d.rest = true, nil
		return
	}
	d.rest = d.rest[n:]
}

func (d *decoder) varint() int64 {
	v, n := binary.Varint(d.rest)
	d.take(n)
	return v
}

func (d *decoder) uvarint() uint64 {
	v, n := binary.Uvarint(d.rest)
	d.take(n)
	return v
}

func (d *decoder) byte() byte {
	if len(d.rest) == 0 {
		d.bad = true
		return 0
	}
	b := d.rest[0]
	d.rest = d.rest[1:]
	return b
}

func (d *decoder) err() error {
	if d.bad {
		return fmt.Errorf("%w: a stretch of history ends too early", ErrCorrupt)
	}
	return nil
}
