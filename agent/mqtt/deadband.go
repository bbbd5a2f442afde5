package mqtt

import (
	"math"
	"time"

	"weepd/agent"
)

// Deadbands of the readings, common practice of telemetry, no source: small
// against the limits, large against the noise.
const (
	deadbandDPM        = 1.0 // drops per minute, or
	deadbandDPMPercent = 5.0 // percent of the last sent, whichever is more
	deadbandC          = 0.5 // °C, of temperature and rise
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
	return weepMoved(last, r) || moved(last.TempC, r.TempC, deadbandC) || moved(last.RiseC, r.RiseC, deadbandC)
}

// weepMoved reports a weep that is another one for certain: beyond the
// deadband, and with limits that have nothing in common with those sent. The
// weep of a minute goes up and down by as much as its limits say.
func weepMoved(last, now agent.GlandReading) bool {
	if last.DPM == nil || !moved(last.DPM, now.DPM, max(deadbandDPM, math.Abs(*last.DPM)*deadbandDPMPercent/100)) {
		return (last.DPM == nil) != (now.DPM == nil)
	}
	return now.DPM == nil || apart(last, now) || apart(now, last)
}

// apart reports that all of b lies above all of a; what has no limits is only
// its rate.
func apart(a, b agent.GlandReading) bool {
	most, least := a.DPM, b.DPM
	if a.DPMHigh != nil {
		most = a.DPMHigh
	}
	if b.DPMLow != nil {
		least = b.DPMLow
	}
	return *least > *most
}

func moved(last, now *float64, band float64) bool {
	if last == nil || now == nil {
		return (last == nil) != (now == nil)
	}
	return math.Abs(*now-*last) > band
}
