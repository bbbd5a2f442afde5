// Package reading holds the one type that sensors, agent and rules share: a
// timestamped value of one point, with its quality.
package reading

import (
	"fmt"
	"strings"
	"time"
)

// Kind says what a point of a gland measures.
type Kind uint8

// The kinds of point, with the unit of their readings.
const (
	Drip  Kind = iota // new drops since the previous reading, a count; 0 = watched, nothing fell
	Temp              // gland temperature, °C
	Ref               // reference temperature (pumped liquid, flush water or air), °C
	Run               // shaft: 1 turning, 0 at rest
	Kinds             // how many kinds there are
)

var kindNames = [Kinds]string{"drip", "temp", "ref", "run"}

// Marks: what a recording says of a gland beside readings. No sensor gives them.
const (
	// Watch is 1 where the agent began to watch, knowing nothing of before, and 0
	// where it went on watching while no point had anything to say.
	Watch Kind = Kinds + 1 + iota
	// Repacked says that the gland was repacked so many seconds before; 0: then.
	Repacked
	// Adjusted says that the gland nuts were turned by so many flats just now;
	// below 0: slackened.
	Adjusted
)

// Mark reports whether the kind is a mark and no reading.
func (k Kind) Mark() bool { return k >= Watch && k <= Adjusted }

// String gives the kind's word in config, recordings and topics.
func (k Kind) String() string {
	switch {
	case k < Kinds:
		return kindNames[k]
	case k == Watch:
		return "watch"
	case k == Repacked:
		return "repacked"
	case k == Adjusted:
		return "adjusted"
	}
	return fmt.Sprintf("kind(%d)", uint8(k))
}

// ParseKind is the inverse of Kind.String.
func ParseKind(s string) (Kind, error) {
	for k, name := range kindNames {
		if s == name {
			return Kind(k), nil
		}
	}
	for _, k := range []Kind{Watch, Repacked, Adjusted} {
		if s == k.String() {
			return k, nil
		}
	}
	return 0, fmt.Errorf("point kind %q: want drip, temp, ref or run (in recordings also watch, repacked, adjusted)", s)
}

// Point names one measured place: `<gland>.<kind>`.
type Point struct {
	Gland string
	Kind  Kind
}

// String gives the point as recordings and config write it, e.g. `p1-de.drip`.
func (p Point) String() string { return p.Gland + "." + p.Kind.String() }

// MaxGlandID is the longest gland id, in bytes.
const MaxGlandID = 32

// ValidGlandID reports whether id fits `[A-Za-z0-9_-]{1,32}`.
func ValidGlandID(id string) bool {
	if id == "" || len(id) > MaxGlandID {
		return false
	}
	for i := range len(id) {
		c := id[i]
		alnum := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !alnum && c != '_' && c != '-' {
			return false
		}
	}
	return true
}

// ParsePoint reads `<gland>.<kind>`.
func ParsePoint(s string) (Point, error) {
	gland, kind, found := strings.Cut(s, ".")
	if !found {
		return Point{}, fmt.Errorf("point %q: want <gland>.drip, .temp, .ref or .run", s)
	}
	if !ValidGlandID(gland) {
		return Point{}, fmt.Errorf("point %q: gland id: want 1 to %d of A-Z a-z 0-9 _ -", s, MaxGlandID)
	}
	k, err := ParseKind(kind)
	if err != nil {
		return Point{}, fmt.Errorf("point %q: %w", s, err)
	}
	return Point{Gland: gland, Kind: k}, nil
}

// Quality says whether a reading may be believed and, if not, why.
type Quality uint8

// The qualities. Everything above Inferred is bad: its Value means nothing.
const (
	Good        Quality = iota // measured
	Inferred                   // derived from other readings, not measured
	Fault                      // the sensor or its converter reported a fault without a cause
	OpenCircuit                // wire broken or sensor unplugged
	ShortCircuit
	OutOfRange // outside what the sensor can measure
	NoAnswer   // the device or file did not answer in time
	Garbled    // the answer could not be read (checksum, text for a number)
	Storm      // pulses faster than drops can fall: contact bounce or interference
	Lost       // pulses were lost: the count is too low by an unknown number
	qualities
)

var qualityNames = [qualities]string{
	"good", "inferred", "fault", "open-circuit", "short-circuit",
	"out-of-range", "no-answer", "garbled", "storm", "lost",
}

// String gives the quality's word in topics, logs and on the page.
func (q Quality) String() string {
	if q < qualities {
		return qualityNames[q]
	}
	return fmt.Sprintf("quality(%d)", uint8(q))
}

// OK reports whether the value may be used.
func (q Quality) OK() bool { return q <= Inferred }

// Reading is one value of one point.
//
// At is time on the station's steady clock: it starts near the Unix time at
// which the agent started (or at a recording's own time stamps) and then only
// moves forward with elapsed time, whatever happens to the wall clock.
// Value is in the unit of the point's kind and meaningless unless Quality.OK.
type Reading struct {
	At      time.Duration
	Point   Point
	Value   float64
	Quality Quality
}
