package recording

import "time"

// Years whose nanoseconds since 1970 fit 64 bits.
const (
	firstYear = 1970
	lastYear  = 2261

	// lastSecond is the last of lastYear, Unix time.
	lastSecond = 9_214_646_399
)

// stampParser reads RFC 3339 time stamps. Rows of a recording follow each
// other closely, so it keeps the minute of the last one.
type stampParser struct {
	prefix [len("2006-01-02T15:04")]byte
	minute int64 // Unix nanoseconds of prefix, taken as UTC; valid if prefix is set
}

// parse gives Unix nanoseconds. It follows RFC 3339 section 5.6 without leap
// seconds, which Unix time cannot hold, and with at most nine decimals.
func (s *stampParser) parse(b []byte) (ns int64, ok bool) {
	const prefix, seconds = len(s.prefix), len("2006-01-02T15:04:05")
	if len(b) <= seconds || b[prefix] != ':' {
		return 0, false
	}
	fresh := s.prefix[0] == 0 || string(b[:prefix]) != string(s.prefix[:])
	if fresh && !s.setMinute(b[:prefix]) {
		return 0, false
	}
	sec, ok := twoDigits(b[prefix+1:], 59)
	if !ok {
		return 0, false
	}
	rest := b[seconds:]
	frac := int64(0)
	if rest[0] == '.' {
		var n int
		if frac, n = fraction(rest[1:]); n == 0 {
			return 0, false
		}
		rest = rest[1+n:]
	}
	offset := int64(0)
	if len(rest) != 1 || rest[0] != 'Z' && rest[0] != 'z' {
		if offset, ok = zoneOffset(rest); !ok {
			return 0, false
		}
	}
	return s.minute + int64(sec)*int64(time.Second) + frac - offset, true
}

func (s *stampParser) setMinute(b []byte) bool {
	century, ok1 := twoDigits(b, 99)
	year, ok2 := twoDigits(b[2:], 99)
	month, ok3 := twoDigits(b[5:], 12)
	day, ok4 := twoDigits(b[8:], 31)
	hour, ok5 := twoDigits(b[11:], 23)
	minute, ok6 := twoDigits(b[14:], 59)
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || !ok6 {
		return false
	}
	if b[4] != '-' || b[7] != '-' || b[10] != 'T' && b[10] != 't' || b[13] != ':' {
		return false
	}
	year += century * 100
	t := time.Date(year, time.Month(month), day, hour, minute, 0, 0, time.UTC)
	if year < firstYear || year > lastYear || t.Month() != time.Month(month) || t.Day() != day {
		return false
	}
	copy(s.prefix[:], b)
	s.minute = t.UnixNano()
	return true
}

func twoDigits(b []byte, most int) (int, bool) {
	tens, ones := b[0]-'0', b[1]-'0'
	n := int(tens)*10 + int(ones)
	return n, tens <= 9 && ones <= 9 && n <= most
}

var nanosPerDecimal = [10]int64{0, 1e8, 1e7, 1e6, 1e5, 1e4, 1e3, 1e2, 1e1, 1}

// fraction reads one to nine decimals of a second; n is 0 if there are none or
// more.
func fraction(b []byte) (ns int64, n int) {
	for n < len(b) && b[n]-'0' <= 9 {
		if n == 9 {
			return 0, 0
		}
		ns = ns*10 + int64(b[n]-'0')
		n++
	}
	return ns * nanosPerDecimal[n], n
}

func zoneOffset(b []byte) (ns int64, ok bool) {
	if len(b) != len("+00:00") || b[3] != ':' || b[0] != '+' && b[0] != '-' {
		return 0, false
	}
	hours, ok1 := twoDigits(b[1:], 23)
	minutes, ok2 := twoDigits(b[4:], 59)
	ns = int64(hours)*int64(time.Hour) + int64(minutes)*int64(time.Minute)
	if b[0] == '-' {
		ns = -ns
	}
	return ns, ok1 && ok2
}
