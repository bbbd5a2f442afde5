package modbus

import (
	"time"

	"weepd/rules/reading"
)

// speaker says what is new of one point, and what is not new now and then.
type speaker struct {
	spoke bool
	last  reading.Reading
}

// sayEvery leaves room in sensors.WatchEvery for a poll and a slow request.
const sayEvery = 5 * time.Second

// says reports whether r is to be told: when it differs from the last, when drops
// fell or were lost, and every sayEvery.
func (s *speaker) says(r reading.Reading) bool {
	same := s.spoke && r.Quality == s.last.Quality && r.Value == s.last.Value
	counts := r.Point.Kind == reading.Drip && (r.Value > 0 || r.Quality == reading.Lost || r.Quality == reading.Storm)
	if same && !counts && r.At-s.last.At < sayEvery {
		return false
	}
	s.spoke, s.last = true, r
	return true
}

// again repeats a bad reading that was not renewed for sayEvery.
func (s *speaker) again(now time.Duration) (reading.Reading, bool) {
	if !s.spoke || s.last.Quality.OK() || now-s.last.At < sayEvery {
		return reading.Reading{}, false
	}
	s.last.At = now
	return s.last, true
}
