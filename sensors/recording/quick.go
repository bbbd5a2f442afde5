package recording

import (
	"bytes"
	"encoding/binary"
	"math/bits"
	"time"

	"weepd/rules/reading"
)

// quick reads rows of the usual form, eight bytes at a time: a stamp in UTC
// (three decimals are the fastest), a point of up to 16 bytes that was met
// before, a number of up to 8 bytes, LF. Whatever else a line is, it is left to
// Reader.parse, which alone decides what is right and says what is wrong.
type quick struct {
	day, hour uint64 // the bytes "2006-01-" and "02T15:04"; 0 until there was a row
	minute    int64  // their Unix nanoseconds
	slots     [1 << slotBits]slot
	long      slot

	shapes [reading.Ref + 1]shape
	scan   scan
	values [1 << valueBits]numeral
}

// slot is a point that was met before, by the bytes of its name.
type slot struct {
	first, second uint64
	point         uint16
	kind          reading.Kind
	size          uint8 // 0: not used
}

const (
	slotBits = 9

	longName  = 16 // bytes of a point's name from which it has no slot of its own
	quickTail = 56 // comma, the longest name (37), comma, 16 of the value and what follows
	quickRoom = 88 // the longest stamp (30) and quickTail: what a look at a row needs

	// In each byte of a word.
	ones   = 0x0101010101010101
	highs  = 0x8080808080808080
	zeroes = '0' * ones
	commas = ',' * ones
	feeds  = '\n' * ones
	points = '.' * ones

	// Of ":00.000Z": what the bytes are beside the digits, what to add to a digit
	// so that one too large overflows its half byte, and which bits must then be 0.
	secondsText = ':' | '0'<<8 | '0'<<16 | '.'<<24 | '0'<<32 | '0'<<40 | '0'<<48 | 'Z'<<56
	secondsAdd  = 0x00_06_06_06_00_06_0A_00
	secondsMask = 0xFF_F0_F0_F0_FF_F0_F0_FF
	// weights are of tens of seconds, hundreds of milliseconds and milliseconds
	// in 16 bits each, so that the third 16 of the product are their sum.
	weights = 1 | 100<<16 | 1000<<32
	evens   = 0x00FF00FF00FF00FF
)

func word(b []byte) uint64 { return binary.LittleEndian.Uint64(b) }

// zeroBytes marks the lowest zero byte of v, and maybe some above it.
func zeroBytes(v uint64) uint64 { return (v - ones) &^ v & highs }

// quickRows reads rows until rows is full or a line is not of the usual form.
func (r *Reader) quickRows(rows []reading.Row) (n int) {
	for n < len(rows) && r.quickRow(&rows[n]) {
		n++
	}
	return n
}

// millis is the value of ":05.741Z", xored with secondsText, in nanoseconds.
func millis(x uint64) int64 {
	x >>= 8
	x = (x*10 + x>>8) & evens
	return int64(uint16(x*weights>>32)) * int64(time.Millisecond)
}

// quickRow reads one row of the usual form, if that is what comes.
func (r *Reader) quickRow(row *reading.Row) bool {
	l, q := r.lines, &r.quick
	if l.short() {
		return false
	}
	b := (*[quickRoom]byte)(l.buf[l.start:])
	if day, hour := word(b[0:]), word(b[8:]); (day != q.day || hour != q.hour) && !r.quickMinute(b, day, hour) {
		return false
	}
	size, at := 24, q.minute
	if x := word(b[16:]) ^ secondsText; (x|(x+secondsAdd))&secondsMask == 0 {
		at += millis(x)
	} else if nanos, n := quickSeconds(b); n > 0 {
		size, at = n, at+nanos
	} else {
		return false
	}
	tail := (*[quickTail]byte)(b[size:])
	s, name := r.quickPoint(tail)
	if s == nil || at < r.last || tail[0] != ',' {
		return false
	}
	text := tail[name+2:]
	var value float64
	width := 2
	if digit := binary.LittleEndian.Uint16(text) - ('0' | '\n'<<8); s.kind == reading.Drip && digit <= 9 {
		value = float64(digit)
	} else if value, width = quickNumber(word(text), text[8] == '\n', s.kind); width == 0 {
		return false
	} else if s.kind == reading.Temp || s.kind == reading.Ref {
		q.remember(word(text), value)
	}
	if s.kind <= reading.Ref && r.expecting {
		q.shapes[s.kind].expect(s, r.known)
	}
	l.start += size + name + 2 + width
	l.number++
	r.rows++
	r.last = at
	row.At, row.Value, row.Line = time.Duration(at), value, uint32(l.number-r.base)
	row.Point, row.Kind, row.Quality = s.point, s.kind, reading.Good
	return true
}

// quickPoint finds the point of a row that was met before, and its size.
func (r *Reader) quickPoint(tail *[quickTail]byte) (s *slot, size int) {
	first, second := word(tail[1:]), word(tail[9:])
	end1, end2 := zeroBytes(first^commas), zeroBytes(second^commas)
	inFirst := uint64(int64(end1|-end1) >> 63) // all bits, if a comma is in there
	size1, size2 := bits.TrailingZeros64(end1)>>3, bits.TrailingZeros64(end2)>>3&^int(inFirst)
	first &= 1<<(8*size1) - 1
	second &= (1<<(8*size2) - 1) &^ inFirst
	size = size1 + size2
	s = &r.quick.slots[(first*0x9E3779B97F4A7C15^second*0xC2B2AE3D27D4EB4F)>>(64-slotBits)]
	if s.first != first || s.second != second || size != int(s.size) || size == 0 {
		return r.quickSlot(s, tail[1:], size)
	}
	return s, size
}

// nextMinute takes a new minute of the hour, if one comes.
func (r *Reader) nextMinute() bool {
	l, q := r.lines, &r.quick
	if l.short() {
		return false
	}
	b := (*[quickRoom]byte)(l.buf[l.start:])
	day, hour := word(b[0:]), word(b[8:])
	return day == q.day && hour != q.hour && r.quickMinute(b, day, hour)
}

// quickMinute takes a new first part of the stamp.
func (r *Reader) quickMinute(b *[quickRoom]byte, day, hour uint64) bool {
	q := &r.quick
	if day == q.day && (day|q.day) != 0 && (hour^q.hour)<<16 == 0 { // another minute of the hour
		if now, ok := twoDigits(b[14:], 59); ok {
			before := binary.LittleEndian.AppendUint64(nil, q.hour)
			was, _ := twoDigits(before[6:], 59)
			q.minute += int64(now-was) * nanosPerMinute
			q.hour = hour
			return true
		}
	}
	if !r.stamps.setMinute(b[:16]) {
		return false
	}
	q.day, q.hour, q.minute = day, hour, r.stamps.minute
	return true
}

// quickSeconds reads ":05Z" to ":05.123456789Z"; size is that of the whole
// stamp, 0 if it is something else.
func quickSeconds(b *[quickRoom]byte) (nanos int64, size int) {
	sec, ok := twoDigits(b[17:], 59)
	if !ok || b[16] != ':' {
		return 0, 0
	}
	nanos, size = int64(sec)*int64(time.Second), 19
	if b[size] == '.' {
		decimals, n := fraction(b[20:30])
		if n == 0 {
			return 0, 0
		}
		nanos, size = nanos+decimals, 20+n
	}
	if b[size] != 'Z' {
		return 0, 0
	}
	return nanos, size + 1
}

// quickSlot puts a point that was met before into the slot. The long ones,
// whose end the caller did not find, have one slot for all.
func (r *Reader) quickSlot(s *slot, name []byte, size int) (*slot, int) {
	if size >= longName {
		s = &r.quick.long
		if size = bytes.IndexByte(name, ','); size < longName {
			return nil, 0
		}
	}
	i, known := r.points[string(name[:size])]
	if !known {
		return nil, 0
	}
	var text [longName]byte
	copy(text[:], name[:size])
	*s = slot{word(text[0:]), word(text[8:]), i, r.known[i].Kind, uint8(size)}
	return s, size
}

// quickNumber reads a number of up to seven bytes that LF follows in w, or one
// of eight, if ended says that LF follows them; width counts LF, 0 stands for
// something else.
func quickNumber(w uint64, ended bool, kind reading.Kind) (v float64, width int) {
	size := bits.TrailingZeros64(zeroBytes(w^feeds)) >> 3
	if size == 0 || size == 8 && !ended {
		return 0, 0
	}
	front := byte(w)
	w = w<<(64-8*size) | zeroes>>(8*size) // as eight bytes, noughts in front
	negative := front == '-'
	if negative {
		w ^= ('-' ^ '0') << (64 - 8*size)
		if front = byte(w >> (72 - 8*size)); size == 1 {
			return 0, 0
		}
	}
	decimals := 0
	if dot := zeroBytes(w ^ points); dot != 0 {
		i := bits.TrailingZeros64(dot) &^ 7
		w = w&^(1<<(i+8)-1) | w&(1<<i-1)<<8 | '0'
		decimals = 7 - i>>3
		if front == '.' || decimals == 0 {
			return 0, 0
		}
	}
	w ^= zeroes
	if (w|(w+6*ones))&(0xF0*ones) != 0 {
		return 0, 0
	}
	w = (w*10 + w>>8) & evens
	w = (w*100 + w>>16) & 0x0000FFFF0000FFFF
	w = (w*10000 + w>>32) & 0xFFFFFFFF
	if v = float64(w); decimals > 0 {
		v /= powersOfTen[decimals]
	}
	if negative {
		v = -v
	}
	if kind != reading.Temp && kind != reading.Ref && !inRange(kind, v) {
		return 0, 0
	}
	return v, size + 1
}
