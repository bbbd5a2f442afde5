// Package weep turns drops into drops per minute with honest limits, and finds
// the moment at which the weep leaves its good band: sequentially, drop by
// drop and silence by silence, with a known rate of false alarms.
package weep

import (
	"math"
	"time"
)

// Config is the good band of one gland. The budget holds for any weep between
// Margin x DryDPM and LeakDPM / Margin.
type Config struct {
	DryDPM, LeakDPM, GushDPM float64 // drops per minute; 0 < dry < leak < gush
	FalseAlarmsPerYear       float64 // of each side; > 0
}

// Margin is the factor between a limit and the edge of the band in which the
// false-alarm budget holds.
const Margin = 1.3

// Detector finds departures from the band. It is fed in order of time.
type Detector struct {
	cfg     Config
	model   *pairModel
	limits  limits
	from    time.Duration // when the interval in progress began
	begun   bool          // from is set
	whole   bool          // the interval in progress began with a drop
	watched bool          // low side armed: the shaft turns and the film has formed
	shape   int8          // step in use
	polled  float32       // share of drop rows that hold more than one drop
	low     bank
	high    bank
	gush    bank
	onset   time.Duration // best guess of when the weep last left the band
	quiet   silences
	looked  time.Duration           // how long a silence must last, once it was looked at
	reach   [reachSteps + 1]float32 // s, how long a silence may be before it needs a look
	learn   regularity
	dry     recovery
	leak    recovery
	stream  recovery
	lowOut  bool
	highOut bool
	gushOut bool
	idle    bool // all sums are nought; see idle.go

	quietFrom, quietTo time.Duration
	idleReach          time.Duration // reach without any alert
	halfReach          time.Duration // and with suspicion
	calmHigh, calmLow  interval
}

// reachSteps is how finely the reach of a silence follows the alert level.
const reachSteps = 16

// Models are what all detectors of a station share. They are not safe for concurrent
// use.
type Models struct {
	pairs  *pairModel
	limits limits
}

// NewModels makes the shared models.
func NewModels() *Models { return &Models{pairs: newPairModel(), limits: make(limits)} }

// NewDetector makes a detector that has learned nothing.
func NewDetector(cfg Config, m *Models) *Detector {
	d := &Detector{cfg: cfg, model: m.pairs, limits: m.limits, shape: -1}
	d.low = newBank(TooLow, cfg.DryDPM*Margin/60, bankLevels)
	d.high = newBank(TooHigh, cfg.LeakDPM/Margin/60, bankLevels)
	d.gush = newBank(TooHigh, cfg.GushDPM/Margin/60, 1)
	d.dry = newRecovery(cfg.DryDPM/60, d.low.edge)
	d.leak = newRecovery(cfg.LeakDPM/60, d.high.edge)
	d.stream = newRecovery(cfg.GushDPM/60, d.gush.edge)
	d.useShape(unlearnedStep)
	return d
}

func (d *Detector) useShape(step int) {
	if int8(step) == d.shape {
		return
	}
	d.shape = int8(step)
	for _, b := range []*bank{&d.low, &d.high, &d.gush} {
		b.setShape(step, d.model.curves, d.cfg.FalseAlarmsPerYear)
	}
	d.quiet.setShape(d.low.edge, d.model.curves.at(step))
	for i := range d.reach {
		d.reach[i] = below(d.quiet.reachAt(&d.low, float64(i)/reachSteps))
	}
	d.idleReach, d.halfReach = d.reachAt(0), d.reachAt(suspicion*reachSteps)
	d.findQuiet()
	d.findCalm()
}

// Shape is the regularity in use: 1 = Poisson, larger = more regular.
func (d *Detector) Shape() float64 { return shapeAt(int(d.shape)) }

// Out reports the sides that the weep is known to have left the band by.
func (d *Detector) Out() (low, high, gush bool) { return d.lowOut, d.highOut, d.gushOut }

// Arm says whether too little weep matters: only while the shaft turns and once
// the film has had time to form.
func (d *Detector) Arm(at time.Duration, on bool) {
	if d.watched == on {
		return
	}
	d.rouse()
	d.watched = on
	d.low.reset(at)
	d.dry.sum = 0
	d.lowOut = false
	d.Restart(at)
}

// Restart begins a new interval at a moment that is not a drop: a start, a
// stop, the end of a gap.
func (d *Detector) Restart(at time.Duration) {
	d.rouse()
	d.from, d.begun, d.whole, d.looked = at, true, false, 0
	d.learn.interrupt()
}

// Drops takes n >= 1 new drops seen at a moment.
func (d *Detector) Drops(at time.Duration, n int) {
	d.rouse()
	d.take(at, n)
	d.rest()
}

func (d *Detector) take(at time.Duration, n int) {
	if !d.begun {
		d.Restart(at)
		d.whole = true
		return
	}
	interval := max(0, at-d.from)
	x := seconds(interval)
	several := float32(0)
	if n > 1 {
		several = 1
	}
	d.polled += (several - d.polled) * (1.0 / 16)
	d.from, d.looked = at, 0
	if n > 1 && d.polled > 0.1 { // a counter read now and then: the drops fell in between
		d.step(at, x/float64(n), n)
		d.learn.interrupt()
		d.whole = true
		return
	}
	d.step(at, x, 1)
	if d.whole {
		d.teach(interval)
	}
	if n > 1 { // together with the first: splash, or too close to tell apart
		d.step(at, 0, n-1)
	}
	d.whole = true
}

func (d *Detector) step(at time.Duration, x float64, n int) {
	if d.watched {
		d.judge(&d.low, &d.dry, &d.lowOut, at, x, n)
	}
	d.judge(&d.high, &d.leak, &d.highOut, at, x, n)
	d.judge(&d.gush, &d.stream, &d.gushOut, at, x, n)
}

// judge gives n intervals to the test that is due: for leaving the band, or for
// coming back.
func (d *Detector) judge(b *bank, back *recovery, out *bool, at time.Duration, x float64, n int) {
	if *out {
		*out = !back.good(x, n)
		return
	}
	if c := b.step(at, x, n); c != nil {
		d.leave(b, back, out, at, c)
	}
}

func (d *Detector) leave(b *bank, back *recovery, out *bool, at time.Duration, c *cusum) {
	*out = true
	back.sum = 0
	d.onset = c.since
	b.reset(at)
	if d.learn.doubt() {
		d.useShape(unlearnedStep)
	}
}

// SetLeak moves the upper limit, for a gland that is being run in. What was
// gathered against the old limit is forgotten; a side already out stays so until
// the weep is back within the new limit.
func (d *Detector) SetLeak(at time.Duration, leakDPM float64) {
	d.rouse()
	d.high.edge = leakDPM / Margin / 60
	d.high.setShape(int(d.shape), d.model.curves, d.cfg.FalseAlarmsPerYear)
	d.high.reset(at)
	d.leak = newRecovery(leakDPM/60, d.high.edge)
	d.findQuiet()
	d.findCalm()
}

// Onset is the best guess of when the weep last left the band.
func (d *Detector) Onset() time.Duration { return d.onset }

// suspicion is the share of a threshold above which intervals are not learned.
const suspicion = 0.5

func (d *Detector) teach(interval time.Duration) {
	alert := d.lowOut || d.highOut || d.gushOut || d.low.suspicious() || d.high.suspicious()
	if d.learn.interval(interval, alert) {
		d.useShape(d.learn.cautiousStep(d.model, int(d.shape)))
	}
}

// seconds is an interval in seconds.
func seconds(interval time.Duration) float64 { return float64(interval) * 1e-9 }

// Deadline is when a silence that lasts would next need Silent; ok is false when
// it never will.
func (d *Detector) Deadline() (at time.Duration, ok bool) {
	if !d.begun {
		return 0, false
	}
	least := never
	if d.watched && !d.lowOut {
		least = max(d.looked, d.reachAt(min(reachSteps, int(math.Ceil(d.low.alert()*reachSteps)))))
	}
	if d.highOut {
		least = min(least, d.leak.silenceNeeded())
	}
	if d.gushOut {
		least = min(least, d.stream.silenceNeeded())
	}
	return d.from + least, least < never
}

// reachAt is how long a silence may last at an alert level, in steps.
func (d *Detector) reachAt(step int) time.Duration {
	if r := float64(d.reach[step]); r < never.Seconds() {
		return time.Duration(r * 1e9)
	}
	return never
}

// below is a time in seconds, rounded down.
func below(d time.Duration) float32 {
	seconds := float32(d.Seconds())
	if float64(seconds) > d.Seconds() {
		seconds = math.Nextafter32(seconds, 0)
	}
	return seconds
}

// Silent says that nothing fell up to at. A first look at a Deadline may only
// find the exact, later one.
func (d *Detector) Silent(at time.Duration) {
	d.rouse()
	d.low.rouse()
	silence := at - d.from
	if d.highOut && silence >= d.leak.silenceNeeded() {
		d.highOut = false
	}
	if d.gushOut && silence >= d.stream.silenceNeeded() {
		d.gushOut = false
	}
	if !d.watched || d.lowOut {
		return
	}
	exact, level := d.quiet.firstCrossing(&d.low)
	if d.looked = exact; silence >= exact {
		d.leave(&d.low, &d.dry, &d.lowOut, at, level)
	}
}

// never is longer than any silence.
const never = time.Duration(math.MaxInt64 / 4)

// ceil is the duration of so many seconds, rounded up so that a test repeated
// at that moment holds.
func ceil(seconds float64) time.Duration {
	if seconds >= never.Seconds() {
		return never
	}
	return time.Duration(math.Ceil(seconds * 1e9))
}

// Forget begins anew at a moment after a gap: what was gathered before it
// proves nothing about now. What was learned, and sides already out, stay.
func (d *Detector) Forget(at time.Duration) {
	d.rouse()
	d.low.reset(at)
	d.high.reset(at)
	d.gush.reset(at)
	d.Restart(at)
}
