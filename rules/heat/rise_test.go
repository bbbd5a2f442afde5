package heat

import (
	"math"
	"testing"
	"time"

	"weepd/rules/reading"
)

// run feeds a gland and its reference every 10 s.
func run(r *Rise, from, length time.Duration, metal, reference func(t time.Duration) float64, steady bool) time.Duration {
	for t := time.Duration(0); t < length; t += 10 * time.Second {
		r.Reference.Read(from+t, reference(t), reading.Good)
		r.Metal.Read(from+t, metal(t), reading.Good)
		r.Update(from+t, steady)
	}
	return from + length
}

func constant(c float64) func(time.Duration) float64 {
	return func(time.Duration) float64 { return c }
}

func ramp(from, perMinute float64) func(time.Duration) float64 {
	return func(t time.Duration) float64 { return from + perMinute*t.Minutes() }
}

func TestSlopeAndTimeToLimit(t *testing.T) {
	r := NewRise()
	at := run(&r, time.Hour, 20*time.Minute, constant(30), constant(20), true)
	run(&r, at, 10*time.Minute, ramp(30, 1.2), constant(20), false)
	if s := r.Slope(); math.Abs(s-1.2) > 0.05 {
		t.Errorf("slope %.3f °C a minute, want 1.2", s)
	}
	rise, _ := r.Judged()
	left, ok := r.ToLimit(25)
	if want := (25 - rise) / 1.2; !ok || math.Abs(left.Minutes()-want) > 0.5 {
		t.Errorf("limit in %v, want %.1f minutes", left, want)
	}
	if normal, ok := r.Normal(); !ok || math.Abs(normal-10) > 0.1 {
		t.Errorf("normal rise %.2f, %v", normal, ok)
	}
}

func TestOneOddReadingIsNotJudged(t *testing.T) {
	r := NewRise()
	at := run(&r, time.Hour, 10*time.Minute, constant(30), constant(20), true)
	r.Metal.Read(at, 39.9, reading.Good) // just short of a jump that the probe refuses
	r.Update(at, false)
	if rise, ok := r.Judged(); !ok || rise > 10.5 {
		t.Errorf("judged %.1f after one odd reading", rise)
	}
}

// A liquid that turns cold by 30 °C leaves the metal warm for minutes: the
// published rise shows it, the judged one does not.
func TestColdLiquidIsNoHeat(t *testing.T) {
	r := NewRise()
	at := run(&r, time.Hour, time.Hour, constant(60), constant(50), true)
	cooling := func(t time.Duration) float64 { return 30 + 30*math.Exp(-t.Minutes()/5) }
	most, shown := 0.0, 0.0
	for t := time.Duration(0); t < time.Hour; t += 10 * time.Second {
		run(&r, at+t, 10*time.Second, constant(cooling(t)), constant(20), false)
		if rise, ok := r.Judged(); ok {
			most = max(most, rise)
		}
		rise, _ := r.Known()
		shown = max(shown, rise)
	}
	if most > 15 || shown < 35 {
		t.Errorf("judged up to %.1f °C, published up to %.1f", most, shown)
	}
}

// A hot day: ambient and gland rise together by 17 °C.
func TestHotDayIsNoHeat(t *testing.T) {
	r := NewRise()
	day := func(t time.Duration) float64 { return 14 + 8.5*(1-math.Cos(2*math.Pi*t.Hours()/24)) }
	gland := func(t time.Duration) float64 { return 10 + day(t-10*time.Minute) }
	at := time.Hour
	for t := time.Duration(0); t < 24*time.Hour; t += 10 * time.Second {
		run(&r, at+t, 10*time.Second, constant(gland(t)), constant(day(t)), true)
	}
	if rise, ok := r.Judged(); !ok || rise < 8 || rise > 12 {
		t.Errorf("judged %.1f, %v", rise, ok)
	}
}

func TestGapForgetsGrowth(t *testing.T) {
	r := NewRise()
	at := run(&r, time.Hour, 10*time.Minute, ramp(30, 2), constant(20), false)
	r.Gap(at + time.Hour)
	if _, ok := r.Judged(); ok {
		t.Error("judged right after a gap")
	}
	run(&r, at+time.Hour, 30*time.Second, constant(30), constant(20), false)
	if s := r.Slope(); math.Abs(s) > 1e-9 {
		t.Errorf("slope %g after a gap", s)
	}
}

// The approximant beside the exponential itself.
func TestGainIsOneMinusExp(t *testing.T) {
	for step := time.Millisecond; step < 20*time.Minute; step += step/7 + 1 {
		for _, over := range []time.Duration{fastTime, slowTime, lagTime, normalTime} {
			want := -math.Expm1(-step.Seconds() / over.Seconds())
			if got := gain(step, over); math.Abs(got-want) > 1e-5*want {
				t.Errorf("%s over %s: %.9g, want %.9g", step, over, got, want)
			}
		}
	}
}
