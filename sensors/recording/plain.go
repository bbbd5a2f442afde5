package recording

import (
	"encoding/binary"

	"weepd/rules/reading"
)

// shape is what a row of the point that came last of its kind looks like after
// its stamp: of a drop the whole row, ",g01.drip,1\n", of a temperature all
// before the value.
type shape struct {
	text, mask [2]uint64 // mask says which bits count
	point      uint16
	last       uint16 // of the last row that was read one by one
	size       int    // of the row up to here; 0: not known yet
}

// numeral is the text of a number with its LF, and its value. Temperatures are few.
type numeral struct {
	text  uint64 // 0: not used
	value float64
}

const (
	valueBits = 9
	stampSize = 24 // "2006-01-02T15:04:05.000Z"
)

// numeralText is the number that stands first in w, with its LF, and its size;
// all of w if there is no LF.
func numeralText(w uint64) (text uint64, size int) {
	end := zeroBytes(w^feeds) >> 7
	before := (end - 1) &^ end // all bits of the bytes before LF
	return w & (before<<8 | 0xFF), int((before&ones)*ones>>56) + 1
}

// numeral is where a number stands, if it was met before.
func (q *quick) numeral(text uint64) *numeral {
	return &q.values[text*0x9E3779B97F4A7C15>>(64-valueBits)]
}

// remember keeps a temperature that stands first in w.
func (q *quick) remember(w uint64, value float64) {
	if text, size := numeralText(w); size <= 8 {
		*q.numeral(text) = numeral{text, value}
	}
}

// expect makes a point what a stretch reads, the second time it is met: where
// many glands take turns it is not worth it.
func (s *shape) expect(of *slot, name int) {
	again := s.last == of.point
	s.last = of.point
	if !again || s.point == of.point && s.size > 0 {
		return
	}
	end := []byte(",")
	if of.kind == reading.Drip {
		end = []byte(",1\n")
	}
	text := [longName]byte{','}
	if 1+name+len(end) > len(text) {
		return
	}
	binary.LittleEndian.PutUint64(text[8:], of.second<<8|of.first>>56)
	binary.LittleEndian.PutUint64(text[0:], of.first<<8|',')
	size := 1 + name + copy(text[1+name:], end)
	s.text = [2]uint64{word(text[0:]), word(text[8:])}
	s.mask = [2]uint64{1<<(8*min(size, 8)) - 1, 1<<(8*max(size-8, 0)) - 1}
	s.point, s.size = of.point, stampSize+size
}
