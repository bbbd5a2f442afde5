package recording

import "weepd/rules/reading"

// shape is what a row of the point that came last of its kind looks like after
// its stamp: of a drop the whole row, ",g01.drip,1\n", of a temperature all
// before the value.
type shape struct {
	pattern
	point uint16
	last  uint16 // of the last row that was read one by one
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
func (s *shape) expect(of *slot, known []reading.Point) {
	again := s.last == of.point
	s.last = of.point
	if !again || s.point == of.point && s.size > 0 {
		return
	}
	text := "," + known[of.point].String() + ","
	if of.kind == reading.Drip {
		text += "1\n"
	}
	if len(text) > patternBytes {
		return
	}
	s.point, s.pattern = of.point, pattern{size: stampSize + len(text)}
	var bytes, mask [patternBytes]byte
	for i := range copy(bytes[:], text) {
		mask[i] = 0xFF
	}
	for i := range s.text {
		s.text[i], s.mask[i] = word(bytes[8*i:]), word(mask[8*i:])
	}
}
