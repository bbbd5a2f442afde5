package agent

import (
	"encoding/json"
	"time"
)

// UpkeepState is what is known of a gland's upkeep, in the form that leaves the
// agent: `GET /api/v1/upkeep`, the page and the weekly report. It is brought up
// to date every hour and with each entry; nobody changes one that was given out.
// What is not known is absent. See package weepd/rules/upkeep for the meaning of
// each part.
type UpkeepState struct {
	Gland string    `json:"gland"`
	Time  time.Time `json:"time"` // of the last look
	// Entries are what people recorded, oldest first, as corrected. One that was
	// voided is still there, with Void.
	Entries []UpkeepEntry `json:"entries"`
	// Offers are steps in the weep that nobody recorded: "adjusted?". Recording
	// `adjusted` with value {"flats":N,"step":SEQ} confirms one, recording
	// `corrected` with {"seq":SEQ,"void":true} dismisses it.
	Offers []UpkeepOffer `json:"offers"`
	// Packing is what is in the box; absent: no repacking was recorded.
	Packing *UpkeepPacking `json:"packing,omitempty"`
	// Adjustments since the repacking, oldest first, each with what came of it.
	Adjustments []UpkeepAdjustment `json:"adjustments"`
	Trend       UpkeepTrend        `json:"trend"`
	// NextAdjustment is when the weep reaches the most allowed, Repack when
	// adjusting will not do any more.
	NextAdjustment UpkeepForecast `json:"next_adjustment"`
	Repack         UpkeepForecast `json:"repack"`
	// HandCount is the newest count by hand beside the sensor's.
	HandCount *UpkeepCount `json:"hand_count,omitempty"`
	// RunIn is the newest running-in of new packing, going on or over.
	RunIn *UpkeepRunIn `json:"run_in,omitempty"`
	// Words says the main thing in one line.
	Words string `json:"words"`
}

// UpkeepEntry is one thing that was done.
type UpkeepEntry struct {
	Seq       uint64          `json:"seq"`  // of its event; corrections name it
	Time      time.Time       `json:"time"` // of the work
	Kind      string          `json:"kind"`
	Value     json.RawMessage `json:"value,omitempty"` // as corrected
	By        string          `json:"by,omitempty"`
	Note      string          `json:"note,omitempty"`
	Void      bool            `json:"void,omitempty"`      // taken back
	Corrected uint64          `json:"corrected,omitempty"` // seq of the newest correction
	Words     string          `json:"words"`
}

// UpkeepOffer is a step in the weep that nobody recorded.
type UpkeepOffer struct {
	Seq       uint64    `json:"seq"`
	Time      time.Time `json:"time"` // about
	BeforeDPM float64   `json:"before_dpm"`
	AfterDPM  float64   `json:"after_dpm"`
	Words     string    `json:"words"`
}

// UpkeepPacking is what was put in the box and when.
type UpkeepPacking struct {
	Since   time.Time `json:"since"`
	Packing string    `json:"packing,omitempty"`
	Rings   int       `json:"rings,omitempty"`
	Flats   float64   `json:"flats"` // tightened since, net
	// The follower's travel used and in all; absent where thread pitch or travel
	// are not configured.
	TravelUsedMM *float64 `json:"travel_used_mm,omitempty"`
	TravelMM     *float64 `json:"travel_mm,omitempty"`
}

// UpkeepLevel is a weep over some hours with its 95 % limits.
type UpkeepLevel struct {
	DPM     float64 `json:"dpm"`
	LowDPM  float64 `json:"dpm_low"`
	HighDPM float64 `json:"dpm_high"`
}

// UpkeepAdjustment is one turn at the nuts (or several within two hours) and what
// came of it.
type UpkeepAdjustment struct {
	Seq      uint64    `json:"seq"`
	Time     time.Time `json:"time"`
	Recorded bool      `json:"recorded"` // false: an offer that waits
	Flats    *float64  `json:"flats,omitempty"`
	// Before and After, absent where the weep was not watched for long enough.
	Before *UpkeepLevel `json:"before,omitempty"`
	After  *UpkeepLevel `json:"after,omitempty"`
	// CutDPM is how much came off with its 95 % limits; below 0: more weeps now.
	CutDPM     *float64 `json:"cut_dpm,omitempty"`
	CutLowDPM  *float64 `json:"cut_dpm_low,omitempty"`
	CutHighDPM *float64 `json:"cut_dpm_high,omitempty"`
	PerFlatDPM *float64 `json:"per_flat_dpm,omitempty"`
	// HeldDays is how long the weep stayed under the most allowed; Holding: it
	// still does.
	HeldDays float64 `json:"held_days"`
	Holding  bool    `json:"holding,omitempty"`
	// Verdict: too-early, not-watched, worked, little, nothing or too-far.
	Verdict string `json:"verdict"`
	Words   string `json:"words"`
}

// UpkeepSlope is a trend: the Theil-Sen slope with 80 % limits and the chance P of
// such an order without a trend (Mann-Kendall, two-sided).
type UpkeepSlope struct {
	Points int      `json:"points"`
	Per    *float64 `json:"per,omitempty"` // absent: too early to tell
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
	P      *float64 `json:"p,omitempty"`
	Surety string   `json:"surety"` // too early to tell, not sure, likely, sure
}

// UpkeepTrend is how the packing's life goes.
type UpkeepTrend struct {
	GrowthDPMDay UpkeepSlope `json:"growth_dpm_day"` // since the last adjustment
	Interval     UpkeepSlope `json:"interval"`       // share by which each interval differs from the one before
	Effect       UpkeepSlope `json:"effect"`         // change of the share that a flat takes off, from each adjustment to the next
	Words        []string    `json:"words"`
}

// UpkeepForecast is when something is due. Times are absent while it is too early
// to tell; Words says why, or gives the reasons.
type UpkeepForecast struct {
	Known bool `json:"known"`
	Now   bool `json:"now,omitempty"` // due already
	// Early to Late holds the moment four times in five.
	Early *time.Time `json:"early,omitempty"`
	Mid   *time.Time `json:"mid,omitempty"`
	Late  *time.Time `json:"late,omitempty"`
	Range string     `json:"range"` // in words: "too early to tell", "now" or "3 May to 20 May 2026"
	Words []string   `json:"words"`
}

// UpkeepCount is a hand count beside the sensor's.
type UpkeepCount struct {
	Time   time.Time    `json:"time"`
	Hand   UpkeepLevel  `json:"hand"`
	Sensor *UpkeepLevel `json:"sensor,omitempty"` // absent: not watched then
	Agree  *bool        `json:"agree,omitempty"`
}

// UpkeepRunIn is the running-in of new packing, stage by stage.
type UpkeepRunIn struct {
	Active  bool       `json:"active"`
	From    time.Time  `json:"from"`
	Ended   *time.Time `json:"ended,omitempty"`
	Outcome string     `json:"outcome,omitempty"` // in words, once it is over
	Stage   int        `json:"stage"`             // from 1, the most generous
	Stages  int        `json:"stages"`
	// The weep to have now.
	TargetDPM float64 `json:"target_dpm"`
	LeastDPM  float64 `json:"least_dpm"`
	MostDPM   float64 `json:"most_dpm"`
	Steady    bool    `json:"steady"` // long enough steady at this stage
	Next      string  `json:"next"`   // what to do now, with its caution
	// Curve has a point every few minutes.
	Curve []UpkeepRunInPoint `json:"curve"`
}

// UpkeepRunInPoint is one point of a run-in's curve.
type UpkeepRunInPoint struct {
	Time      time.Time `json:"time"`
	DPM       *float64  `json:"dpm,omitempty"`
	RiseC     *float64  `json:"rise_c,omitempty"`
	TargetDPM float64   `json:"target_dpm"`
}
