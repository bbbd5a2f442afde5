package recording

import "time"

// stampWriter writes times as RFC 3339 in UTC with none, three, six or nine
// decimals, as they need. Rows follow each other closely, so it keeps the minute of the last one.
type stampWriter struct {
	minute int64 // Unix minute of text
	text   [len("2006-01-02T15:04:")]byte
}

const nanosPerMinute = int64(time.Minute)

// append adds the stamp of a Unix time in nanoseconds, not negative.
func (s *stampWriter) append(b []byte, ns int64) []byte {
	minute := ns / nanosPerMinute
	if minute != s.minute || s.text[0] == 0 {
		s.minute = minute
		time.Unix(minute*60, 0).UTC().AppendFormat(s.text[:0], "2006-01-02T15:04:")
	}
	b = append(b, s.text[:]...)
	rest := ns - minute*nanosPerMinute
	sec := byte(rest / int64(time.Second))
	b = append(b, '0'+sec/10, '0'+sec%10)
	return append(appendDecimals(b, uint32(rest%int64(time.Second))), 'Z')
}

// appendDecimals adds a fraction of a second without trailing groups of three noughts.
func appendDecimals(b []byte, nanos uint32) []byte {
	if nanos == 0 {
		return b
	}
	digits := 9
	for nanos%1000 == 0 {
		nanos, digits = nanos/1000, digits-3
	}
	b = append(b, ".000000000"[:digits+1]...)
	for i := len(b) - 1; nanos > 0; i-- {
		b[i] = '0' + byte(nanos%10)
		nanos /= 10
	}
	return b
}
