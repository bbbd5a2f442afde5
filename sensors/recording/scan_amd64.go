package recording

import (
	"unsafe"

	"golang.org/x/sys/cpu"

	"weepd/rules/reading"
)

// What scanRows takes for granted: the fields of a reading.Warm, and its kinds.
var (
	_ = [1]struct{}{}[unsafe.Offsetof(reading.Warm{}.At)-0]
	_ = [1]struct{}{}[unsafe.Offsetof(reading.Warm{}.C)-8]
	_ = [1]struct{}{}[unsafe.Offsetof(reading.Warm{}.After)-16]
	_ = [1]struct{}{}[unsafe.Offsetof(reading.Warm{}.Kind)-20]
	_ = [1]struct{}{}[unsafe.Sizeof(reading.Warm{})-24]
	_ = [1]struct{}{}[reading.Temp-1]
	_ = [1]struct{}{}[reading.Ref-2]
)

// scanRows is scan.plain with the vector instructions SSSE3 and SSE4.1.
//
//go:noescape
func scanRows(s *scan)

// run scans the fastest way that there is.
func (s *scan) run() {
	if cpu.X86.HasSSSE3 && cpu.X86.HasSSE41 && !s.portable {
		scanRows(s)
		return
	}
	s.plain()
}
