package modbus

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
	"weepd/sensors"
)

func TestDrops(t *testing.T) {
	const s = time.Second
	d := drops{bits: 16}
	for i, step := range []struct {
		at   time.Duration
		now  uint64
		want float64
		q    reading.Quality
	}{
		{0, 65530, 0, reading.Good}, // what fell before is not known
		{1 * s, 65533, 3, reading.Good},
		{2 * s, 1, 4, reading.Good}, // over the end
		{3 * s, 1, 0, reading.Good},
		{4 * s, 31, 30, reading.Good},
		{5 * s, 3, 0, reading.Lost}, // restarted
		{6 * s, 4, 1, reading.Good},
		{7 * s, 30000, 0, reading.Storm},
		{8 * s, 30001, 1, reading.Good},
		{19 * s, 30002, 0, reading.Lost}, // 11 s without a reading
		{20 * s, 30003, 1, reading.Good},
	} {
		f := d.take(step.at, step.now)
		if f.Quality != step.q || f.Quality.OK() && f.Value != step.want || f.Quality.OK() != (f.Cause == "") {
			t.Errorf("step %d: %+v, want %g %s", i, f, step.want, step.q)
		}
	}
	wide := drops{bits: 32, known: true, before: math.MaxUint32 - 1}
	if f := wide.take(s, 3); f.Value != 5 || f.Quality != reading.Good {
		t.Errorf("32 bits: %+v, want 5", f)
	}
}

// No drop is made up or lost while a device counts, wherever its counter starts.
func TestDropsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]uint{16, 32}).Draw(t, "bits")
		total := rapid.Uint64Range(0, 1<<bits-1).Draw(t, "start")
		d, at, fell, told := drops{bits: bits}, time.Duration(0), uint64(0), 0.0
		d.take(at, total)
		for range rapid.IntRange(1, 50).Draw(t, "polls") {
			pause := time.Duration(rapid.Int64Range(int64(50*time.Millisecond), int64(sensors.WatchEvery)).Draw(t, "pause"))
			n := rapid.Uint64Range(0, uint64(pause.Seconds()*mostPerSecond)).Draw(t, "drops")
			at, fell = at+pause, fell+n
			f := d.take(at, (total+fell)&(1<<bits-1))
			if f.Quality != reading.Good {
				t.Fatalf("%+v", f)
			}
			told += f.Value
		}
		if told != float64(fell) {
			t.Fatalf("%d fell, %g told", fell, told)
		}
	})
}

func FuzzDrops(f *testing.F) {
	f.Add(uint32(65535), uint32(2), int64(time.Second), true)
	f.Fuzz(func(t *testing.T, before, now uint32, passed int64, wide bool) {
		d := drops{bits: 16}
		if wide {
			d.bits = 32
		}
		mask := uint64(1)<<d.bits - 1
		d.take(0, uint64(before)&mask)
		got := d.take(time.Duration(passed), uint64(now)&mask)
		most := 2 + time.Duration(passed).Seconds()*mostPerSecond
		if got.Quality.OK() && (got.Value < 0 || got.Value != math.Trunc(got.Value) || passed >= 0 && got.Value > most) {
			t.Errorf("%d to %d in %d ns: %+v", before, now, passed, got)
		}
		if !got.Quality.OK() && got.Cause == "" {
			t.Errorf("%+v has no cause", got)
		}
	})
}
