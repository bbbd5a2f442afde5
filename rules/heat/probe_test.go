package heat

import (
	"math"
	"testing"
	"time"

	"weepd/rules/reading"
)

// stirring feeds a probe readings every 10 s that stir by one step of a DS18B20
// (1/16 °C, its data sheet), from a moment on.
func stirring(p *Probe, from time.Duration, c float64, n int) time.Duration {
	for i := range n {
		p.Read(from, c+0.0625*float64(i%2), reading.Good)
		from += 10 * time.Second
	}
	return from
}

func TestOneBadReadingIsNothing(t *testing.T) {
	p := NewProbe(true)
	at := stirring(&p, time.Hour, 30, 10)
	if p.Read(at, math.NaN(), reading.OpenCircuit) {
		t.Error("a bad reading may not be used")
	}
	if q := p.Quality(); q != reading.OpenCircuit {
		t.Errorf("quality %v", q)
	}
	at = stirring(&p, at+10*time.Second, 30, 10)
	if _, faulty := p.Faulty(); faulty {
		t.Error("faulty after one bad reading")
	}
	if _, ok := p.Usable(); !ok {
		t.Error("good readings must be used again")
	}
	_ = at
}

func TestFaultAndReturnTakeAMinute(t *testing.T) {
	p := NewProbe(true)
	at := stirring(&p, time.Hour, 30, 10)
	for s := range 13 {
		p.Read(at, 0, reading.ShortCircuit)
		cause, faulty := p.Faulty()
		if want := s >= 6; faulty != want || cause != Reported {
			t.Errorf("after %d s: faulty %v, cause %d", 10*s, faulty, cause)
		}
		at += 10 * time.Second
	}
	at = stirring(&p, at, 30, 6)
	if _, faulty := p.Faulty(); !faulty {
		t.Error("mended after 50 s of good readings")
	}
	stirring(&p, at, 30, 2)
	if _, faulty := p.Faulty(); faulty {
		t.Error("not mended after a minute of good readings")
	}
}

func TestSilentSensor(t *testing.T) {
	p := NewProbe(true)
	at := stirring(&p, time.Hour, 30, 30)
	due, ok := p.Deadline()
	if last := at - 10*time.Second; !ok || due != last+minSilent {
		t.Fatalf("deadline %v, %v", due, ok)
	}
	p.Wait(due - 1)
	if _, faulty := p.Faulty(); faulty {
		t.Error("silent too soon")
	}
	p.Wait(due)
	if cause, faulty := p.Faulty(); !faulty || cause != Silent || p.Quality() != reading.NoAnswer {
		t.Errorf("cause %d, faulty %v, quality %v", cause, faulty, p.Quality())
	}
}

// A sensor read every five minutes is not silent in between.
func TestSlowSensorIsNotSilent(t *testing.T) {
	p := NewProbe(true)
	at := time.Hour
	for i := range 50 {
		if due, ok := p.Deadline(); ok && i > 1 && due <= at {
			t.Fatalf("silent at %v before the reading of %v", due, at)
		}
		p.Read(at, 30+0.0625*float64(i%2), reading.Good)
		at += 5 * time.Minute
	}
}

func TestFrozenValue(t *testing.T) {
	p := NewProbe(true)
	at := stirring(&p, time.Hour, 30, 400)
	frozen := 0
	for ; frozen < 400; frozen++ {
		p.Read(at, 31, reading.Good)
		if _, faulty := p.Faulty(); faulty {
			break
		}
		at += 10 * time.Second
	}
	if cause, _ := p.Faulty(); cause != Stuck || frozen < 5 || frozen > 60 {
		t.Errorf("cause %d after %d equal readings", cause, frozen)
	}
}

// A sensor that hardly ever stirs is not stuck when it does not.
func TestQuietSensorIsNotFrozen(t *testing.T) {
	p := NewProbe(true)
	at := time.Hour
	for i := range 20000 {
		p.Read(at, 30+0.0625*float64(i/200%2), reading.Good)
		if _, faulty := p.Faulty(); faulty {
			t.Fatalf("frozen after %d readings", i)
		}
		at += 10 * time.Second
	}
}

func TestImpossibleJump(t *testing.T) {
	p := NewProbe(true)
	at := stirring(&p, time.Hour, 30, 20)
	if p.Read(at, 85, reading.Good) {
		t.Error("55 °C in 10 s was believed")
	}
	at += 10 * time.Second
	if !p.Read(at, 30.5, reading.Good) {
		t.Error("back to where it was, it must be believed")
	}
	// A new level that holds is taken after a while: a sensor moved.
	at = stirring(&p, at+10*time.Second, 70, 40)
	if c, ok := p.Usable(); !ok || c < 69 {
		t.Errorf("after 400 s at 70 °C: %g, %v", c, ok)
	}
	liquid := NewProbe(false)
	stirring(&liquid, at, 20, 5)
	if !liquid.Read(at+50*time.Second, 60, reading.Good) {
		t.Error("a liquid may turn hot at once")
	}
}

func TestOutsideAnyGland(t *testing.T) {
	p := NewProbe(true)
	for _, c := range []float64{-242, 850, math.Inf(1), math.NaN()} { // a Pt100's ends, wire shorted or open
		if p.Read(time.Hour, c, reading.Good) {
			t.Errorf("%g °C was believed", c)
		}
	}
}
