package config

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

const (
	maxLine = 4096 // characters in a line
	bom     = "\xef\xbb\xbf"
)

// checkText refuses what is no text before the YAML parser sees it: the
// parser's work is bounded only for text with lines of a sane length.
func checkText(name string, data []byte) (string, *Fault) {
	fault := func(line, column int, what, do string) (string, *Fault) {
		return "", &Fault{name, line, column, what, do}
	}
	if len(data) > MaxBytes {
		return fault(1, 1, "larger than 1 MiB, far more than any station needs", "check that this is the right file")
	}
	data = bytes.TrimPrefix(data, []byte(bom))
	data = bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n"))
	line, column := 1, 0
	for at := 0; at < len(data); {
		r, size := utf8.DecodeRune(data[at:])
		at += size
		column++
		switch {
		case r == utf8.RuneError && size == 1:
			return fault(line, column, fmt.Sprintf("byte 0x%02x is no UTF-8 text", data[at-1]),
				"save the file as UTF-8, or check that this is the right file")
		case r == '\n':
			line, column = line+1, 0
		case r != '\t' && r < ' ' || r >= 0x7f && r < 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff:
			return fault(line, column, fmt.Sprintf("control character %U", r),
				"remove it, or check that this is the right file")
		case column > maxLine:
			return fault(line, column, fmt.Sprintf("line longer than %d characters", maxLine), "break it into several lines")
		}
	}
	return string(data), nil
}
