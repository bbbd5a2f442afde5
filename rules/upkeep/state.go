package upkeep

import (
	"time"

	"weepd/rules/weep"
)

// State is all that is known of a gland's upkeep at a moment. Times are steady
// (reading.Reading.At). Nobody changes a State once it is given out.
type State struct {
	At time.Duration
	// Entries are what people recorded, oldest first, as corrected: one that was
	// voided is still there and says so.
	Entries []Entry
	// Offers are steps in the weep that nobody has recorded: "adjusted?". They
	// wait to be recorded or dismissed.
	Offers []Step
	// Packing is what is in the box.
	Packing Packing
	// Adjustments are those since the last repacking, oldest first, each with
	// what came of it. Entries close together count as one.
	Adjustments []Adjustment
	Trend       Trend
	Outlook     Outlook
	// Count compares the newest hand count with what the sensor counted.
	Count Count
	// RunIn is the newest running-in of new packing.
	RunIn RunIn
	// Ineffective: tightening no longer brings the leak down; and why.
	Ineffective    bool
	IneffectiveWhy string
}

// Packing is what was put in the box and when.
type Packing struct {
	Known  bool          // false: nobody has recorded a repacking
	Since  time.Duration // of the repacking
	Name   string        // as recorded; may be empty
	Rings  int           // 0: not recorded
	Flats  float64       // tightened since, net
	Travel Travel
}

// Travel is how far the follower has gone into the box since the repacking.
type Travel struct {
	Known  bool    // thread pitch and travel are configured and the repacking is recorded
	UsedMM float64 // by the flats recorded
	OfMM   float64 // what there is
}

// Level is a weep over some hours with its 95 % limits. They hold for what was
// counted and, where enough hours show it, for the slow wander of the weep too.
type Level struct {
	weep.Rate               // drops per minute
	Watched   time.Duration // turning and counted
	Known     bool          // false: not watched for long enough
}

// Verdict says what an adjustment did.
type Verdict uint8

// The verdicts.
const (
	NotYet  Verdict = iota // too early to tell
	Unseen                 // the weep was not watched before or after: nobody will ever tell
	Worked                 // the weep came down for sure (or up, slackened)
	Little                 // less came off than there should, or it is not sure
	Nothing                // surely less than a tenth came off
	Over                   // too far: surely below the least that cools and lubricates
)

// String gives the verdict's word in JSON.
func (v Verdict) String() string {
	return [...]string{"too-early", "not-watched", "worked", "little", "nothing", "too-far"}[v]
}

// Adjustment is one turn at the nuts and what came of it.
type Adjustment struct {
	Seq      uint64        // of its first entry or, when Recorded is false, of the step
	At       time.Duration // of its last entry
	Recorded bool          // false: a step that nobody recorded
	Flats    float64       // net; below 0: slackened; 0: not known
	Before   Level
	After    Level
	// CutDPM is how much came off, with 95 % limits; below 0: more weeps now.
	CutDPM, CutLowDPM, CutHighDPM float64
	// PerFlatDPM is CutDPM by flat; 0 where flats are not known.
	PerFlatDPM float64
	// Held is how long the weep stayed under the most allowed: up to the moment at
	// which it did not, to the next adjustment, or to now while Holding.
	Held    time.Duration
	Holding bool
	Verdict Verdict
}

// Surety is how sure a statement is.
type Surety uint8

// The sureties.
const (
	TooEarly Surety = iota // too little was seen to say anything
	Unsure                 // something shows, but chance may do the same
	Likely                 // chance does the same less than once in five times
	Sure                   // less than once in twenty
)

// String gives the surety's word in JSON and texts.
func (s Surety) String() string {
	return [...]string{"too early to tell", "not sure", "likely", "sure"}[s]
}

// Slope is a robust trend: the median of all pairs' slopes (Theil and Sen) with
// its 80 % limits, and the chance of such an order without any trend (Mann and
// Kendall, two-sided).
type Slope struct {
	N               int // points
	Per             float64
	LowPer, HighPer float64
	P               float64
	Surety          Surety
}

// Trend is how the packing's life goes.
type Trend struct {
	// Growth of the weep since the last adjustment, drops per minute a day.
	Growth Slope
	// Interval is the change of the time from one adjustment to the next, as a
	// share from each to the next: -0.2 is a fifth shorter each time.
	Interval Slope
	// Effect is the change of what a flat takes off the weep (as a share of the
	// weep), from each adjustment to the next.
	Effect Slope
	Words  []string // what it comes to, in sentences
}

// Forecast is when something is due.
type Forecast struct {
	Known bool // false: too early to tell; Words says why
	Now   bool // due already
	// Early to Late holds the moment four times in five; Mid is the best guess.
	Early, Mid, Late time.Duration
	Words            []string // the reasons
}

// Outlook is what comes next.
type Outlook struct {
	Adjust Forecast // the weep reaches the most allowed
	Repack Forecast // adjusting will not do any more
}

// Count is a hand count beside the sensor's.
type Count struct {
	Known  bool
	At     time.Duration
	Hand   weep.Rate // Garwood's limits of the count
	Sensor Level     // of the hour around it
	Agree  bool      // the limits overlap
}

// RunIn is the running-in of new packing, stage by stage.
type RunIn struct {
	Known   bool          // a repacking was recorded and its run-in is remembered
	Active  bool          // it goes on
	From    time.Duration // of the repacking
	Ended   time.Duration // where not Active
	Outcome string        // where not Active: in-band, time-out, ...
	Stage   int           // 0 at first, the most generous
	Stages  int
	// TargetDPM is the weep to have now, from LeastDPM to MostDPM.
	TargetDPM, LeastDPM, MostDPM float64
	Steady                       bool   // long enough steady at this stage
	Next                         string // what to do now
	Curve                        []RunInPoint
}

// RunInPoint is one point of the curve of a run-in.
type RunInPoint struct {
	At        time.Duration
	DPM       float64 // NaN: not known
	RiseC     float64 // NaN: not known
	TargetDPM float64
}
