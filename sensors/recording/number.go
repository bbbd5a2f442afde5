package recording

import (
	"bytes"
	"math"
	"strconv"
)

// Decimal powers that a float64 holds exactly, as far as 15 digits need them.
var powersOfTen = [16]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// parseNumber reads a decimal number as strconv.ParseFloat does; empty and NaN
// give NaN. Hexadecimal, underscores and infinities are refused.
func parseNumber(b []byte) (float64, bool) {
	if len(b) == 0 {
		return math.NaN(), true
	}
	if v, ok := shortDecimal(b); ok {
		return v, true
	}
	if bytes.EqualFold(b, []byte("nan")) {
		return math.NaN(), true
	}
	for _, c := range b {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// shortDecimal reads numbers of up to 15 digits without an exponent. Mantissa
// and power of ten are exact then, so one division rounds correctly (Clinger
// 1990).
func shortDecimal(b []byte) (float64, bool) {
	neg := b[0] == '-'
	if neg {
		b = b[1:]
	}
	mantissa, digits, decimals := int64(0), 0, 0
	point := false
	for _, c := range b {
		switch {
		case c-'0' <= 9:
			mantissa = mantissa*10 + int64(c-'0')
			digits++
			if point {
				decimals++
			}
		case c == '.' && !point:
			point = true
		default:
			return 0, false
		}
		if digits > 15 {
			return 0, false
		}
	}
	if digits == 0 {
		return 0, false
	}
	v := float64(mantissa)
	if decimals > 0 {
		v /= powersOfTen[decimals]
	}
	if neg {
		v = -v
	}
	return v, true
}

// appendNumber writes the shortest decimal that reads back as v, as
// strconv.FormatFloat(v, 'f', -1, 64) does. Numbers of at most four decimals,
// which is nearly all, have their own way: of decimals of at most 15 digits no
// two are the same float64.
func appendNumber(b []byte, v float64) []byte {
	n := int64(v * 1e4)
	if v < 0 || v >= 1e9 || float64(n)/1e4 != v || n == 0 && math.Signbit(v) {
		return strconv.AppendFloat(b, v, 'f', -1, 64)
	}
	if n < 10e4 && n%1e4 == 0 {
		return append(b, '0'+byte(n/1e4))
	}
	b = strconv.AppendInt(b, n/1e4, 10)
	decimals, digits := n%1e4, 4
	if decimals == 0 {
		return b
	}
	for ; decimals%10 == 0; digits-- {
		decimals /= 10
	}
	b = append(b, ".0000"[:digits+1]...)
	for i := len(b) - 1; decimals > 0; i-- {
		b[i] = '0' + byte(decimals%10)
		decimals /= 10
	}
	return b
}
