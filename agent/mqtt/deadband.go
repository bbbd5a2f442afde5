package mqtt

import (
	"math"
	"time"

	"weepd/agent"
)

// Deadbands of the readings, common practice of telemetry, no source: small
// against the limits, large against the noise.
const (
	deadbandDPM        = 1.0  // drops per minute, or
	deadbandDPMPercent = 5.0  // percent of the last sent, whichever is more
	deadbandC          = 0.25 // °C, of temperature and rise
	sendEvery          = 5 * time.Minute
)

// sentGland is the last reading sent of a gland.
type sentGland struct {
	reading agent.GlandReading
	at      time.Time
}

// worthSending reports whether r differs from what was sent by more than a
// deadband, or what was sent is old.
func (s sentGland) worthSending(r agent.GlandReading, now time.Time) bool {
	last := s.reading
	switch {
	case now.Sub(s.at) >= sendEvery,
		r.Quality != last.Quality,
		(r.Running == nil) != (last.Running == nil),
		r.Running != nil && *r.Running != *last.Running:
		return true
	}
	return moved(last.DPM, r.DPM, dpmBand) || moved(last.DPMLow, r.DPMLow, limitBand) ||
		moved(last.DPMHigh, r.DPMHigh, limitBand) ||
		moved(last.TempC, r.TempC, celsiusBand) || moved(last.RiseC, r.RiseC, celsiusBand)
}

func dpmBand(last float64) float64 {
	return max(deadbandDPM, math.Abs(last)*deadbandDPMPercent/100)
}

// limitBand is wider: the limits of the interval move with every drop.
func limitBand(last float64) float64 { return 4 * dpmBand(last) }

func celsiusBand(float64) float64 { return deadbandC }

func moved(last, now *float64, band func(float64) float64) bool {
	if last == nil || now == nil {
		return (last == nil) != (now == nil)
	}
	return math.Abs(*now-*last) > band(*last)
}
