// Package sensortest checks that a source keeps the contract of
// sensors.Source. Every folder under sensors runs it over its source.
package sensortest

import (
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Case is a source to check.
//
// Everything runs in a synctest bubble: time is fake and starts over for each
// part of the suite, so New must make whatever the source waits on (channels,
// timers) anew each time.
type Case struct {
	// New makes a source on a device that works, and the device's switch. A
	// source whose device cannot fail returns a nil Device.
	New func(t testing.TB, clock sensors.Clock) (sensors.Source, Device)

	// For is how long the source is watched; 0 means 2 minutes.
	For time.Duration

	// Every is the longest silence of a point while its device works, and of
	// its bad readings while it does not. 0 leaves only the contract's own
	// sensors.WatchEvery, for drops and for bad readings.
	Every time.Duration

	// Ends says that Run returns nil by itself within For.
	Ends bool

	// Ahead allows time stamps later than the clock: a recording played fast.
	Ahead bool

	asked bool // a sensors.Patient is asked each second
}

// Device breaks and mends what a source reads.
type Device interface {
	Break()
	Mend()
}

// Conform checks every sentence of the contract; for a sensors.Patient once as for
// any source, and once while it is asked each second.
func Conform(t *testing.T, c Case) {
	t.Helper()
	if c.For == 0 {
		c.For = 2 * time.Minute
	}
	conform(t, c)
	if isPatient(t, c) {
		c.asked = true
		t.Run("asked", func(t *testing.T) { conform(t, c) })
	}
}

func conform(t *testing.T, c Case) {
	t.Helper()
	for _, part := range parts {
		t.Run(part.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				for _, fault := range part.check(t, c) {
					t.Error(fault)
				}
			})
		})
	}
}

func isPatient(t *testing.T, c Case) (patient bool) {
	synctest.Test(t, func(t *testing.T) {
		source, _ := c.New(t, func() time.Duration { return time.Duration(time.Now().UnixNano()) })
		_, patient = source.(sensors.Patient)
	})
	return patient
}

// parts of the suite; each returns the faults it found, so that the suite can
// be tested on sources that break the contract.
var parts = []struct {
	name  string
	check func(testing.TB, Case) []string
}{
	{"watched until cancelled", checkWatch},
	{"cancelled before it starts", checkCancelledBefore},
	{"cancelled early", checkCancelledEarly},
	{"device breaks and mends", checkBreak},
	{"cancelled while broken", checkCancelledBroken},
}

// stopWithin is the contract's bound on the time from cancel to return.
const stopWithin = time.Second

func checkWatch(t testing.TB, c Case) []string {
	w := start(t, c)
	time.Sleep(c.For)
	if c.Ends && !w.returned() {
		w.fault("Run goes on; it should have ended by itself within %s", c.For)
	}
	if !c.Ends && w.returned() {
		w.fault("Run returned although nobody cancelled it")
	}
	end := w.now()
	w.stop()
	w.checkSilences(w.begun, end)
	if w.count() == 0 {
		w.fault("no reading in %s", c.For)
	}
	return w.faults()
}

func checkCancelledBefore(t testing.TB, c Case) []string {
	w := prepare(t, c)
	w.cancel()
	w.run()
	w.stop()
	return w.faults()
}

func checkCancelledEarly(t testing.TB, c Case) []string {
	w := start(t, c)
	time.Sleep(37 * time.Millisecond)
	w.stop()
	return w.faults()
}

func checkBreak(t testing.TB, c Case) []string {
	w := prepare(t, c)
	defer w.cancel()
	if w.device == nil {
		return nil
	}
	w.run()
	time.Sleep(c.For)
	broken := w.now()
	w.device.Break()
	time.Sleep(settle)
	hurt := w.now()
	time.Sleep(c.For)
	w.checkBad(hurt, w.now())
	w.device.Mend()
	time.Sleep(settle)
	healed := w.now()
	time.Sleep(c.For)
	end := w.now()
	w.stop()
	w.checkSilences(w.begun, broken)
	w.checkSilences(healed, end)
	w.checkGood(w.begun, broken)
	w.checkGood(healed, end)
	return w.faults()
}

func checkCancelledBroken(t testing.TB, c Case) []string {
	w := prepare(t, c)
	defer w.cancel()
	if w.device == nil {
		return nil
	}
	w.device.Break()
	w.run()
	time.Sleep(c.For)
	w.cancelAndWait()
	w.device.Mend() // frees what the kernel held
	w.stop()
	return w.faults()
}

// settle is how long a source may take to notice that its device broke or
// works again: two of its longest rounds.
const settle = 2 * sensors.WatchEvery

func isDrip(p reading.Point) bool { return p.Kind == reading.Drip }
