package recording

import (
	"math"
	"time"

	"weepd/rules/reading"
)

// scan reads plain rows: stamped in milliseconds within one minute, each a single
// drop of one point, or a temperature of one of two.
type scan struct {
	buf    []byte
	next   int // where the next row begins
	end    int // the last place where a row may begin
	last   int64
	apart  int64 // how far rows may lie apart, ns
	minute int64

	portable bool // without assembly, whatever the processor

	drops []time.Duration
	warms []reading.Warm // while scanned, C holds the text of the number, as a numeral has it
	nd    int            // of drops
	nw    int            // of warms

	stamp [2]uint64 // "2006-01-02T15:04"
	drip  pattern   // the rest of a drop's row
	temp  pattern
	ref   pattern
	long  bool // one of these has more than 16 bytes
}

// patternBytes bounds a pattern: a gland's id may have 23 of them.
const patternBytes = 32

// pattern is a text after the stamp; mask says which bits count.
type pattern struct {
	text, mask [patternBytes / 8]uint64
	size       int // with the stamp; 0: not known
}

// plain scans rows until one is of another form, or the room or the buffer ends.
// What it does is what scanRows does in assembly.
func (s *scan) plain() {
	for s.next <= s.end && s.nd < len(s.drops) {
		b := (*[quickRoom]byte)(s.buf[s.next:])
		x := word(b[16:]) ^ secondsText
		at := s.minute + millis(x)
		odd := word(b[0:]) ^ s.stamp[0] | word(b[8:]) ^ s.stamp[1] | (x|(x+secondsAdd))&secondsMask
		rest := (*[patternBytes]byte)(b[stampSize:])
		if odd != 0 || uint64(at-s.last) > uint64(s.apart) {
			return
		}
		if s.drip.fits(rest) {
			s.drops[s.nd] = time.Duration(at)
			s.nd++
			s.next += s.drip.size
		} else if !s.warm(at, rest) {
			return
		}
		s.last = at
	}
}

func (s *scan) warm(at int64, rest *[patternBytes]byte) bool {
	if s.nw == len(s.warms) {
		return false
	}
	kind, p := reading.Temp, &s.temp
	if !p.fits(rest) {
		if kind, p = reading.Ref, &s.ref; !p.fits(rest) {
			return false
		}
	}
	number := s.next + p.size
	text, width := numeralText(word(s.buf[number:]))
	if width > 8 {
		return false
	}
	s.warms[s.nw] = reading.Warm{At: time.Duration(at), C: math.Float64frombits(text), After: int32(s.nd), Kind: kind}
	s.nw++
	s.next = number + width
	return true
}

func (p *pattern) fits(rest *[patternBytes]byte) bool {
	differs := (word(rest[0:])^p.text[0])&p.mask[0] | (word(rest[8:])^p.text[1])&p.mask[1]
	if p.size > stampSize+16 {
		differs |= (word(rest[16:])^p.text[2])&p.mask[2] | (word(rest[24:])^p.text[3])&p.mask[3]
	}
	return differs == 0
}

// scanWith scans the fastest way that there is, with the numbers met lately.
func (s *scan) scanWith(q *quick) {
	next, last, nd, nw := s.next, s.last, s.nd, s.nw
	s.run()
	if good := s.values(q, nw); good < s.nw { // once more, up to the row that cannot be read so
		warms := s.warms
		s.next, s.last, s.nd, s.nw, s.warms = next, last, nd, nw, warms[:good]
		s.plain()
		s.values(q, nw)
		s.warms = warms
	}
}

// values puts the temperatures, from one of them, in place of their texts, and says
// how far it came.
func (s *scan) values(q *quick, from int) int {
	for i := from; i < s.nw; i++ {
		w := &s.warms[i]
		text := math.Float64bits(w.C)
		known := q.numeral(text)
		if known.text != text {
			value, width := quickNumber(text, false, w.Kind)
			if width == 0 {
				return i
			}
			*known = numeral{text, value}
		}
		w.C = known.value
	}
	return s.nw
}
