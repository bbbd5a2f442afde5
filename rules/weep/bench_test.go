package weep

import "testing"

func BenchmarkDrop(b *testing.B) {
	d := NewDetector(Config{DryDPM: 15, LeakDPM: 60, GushDPM: 200, FalseAlarmsPerYear: 1}, NewModels())
	p := newDrip(1, 4, 0.02, 0.02)
	times := make([]float64, 1<<16)
	for i := range times {
		times[i] = p.next(func(float64) float64 { return 30 })
	}
	d.Restart(0)
	d.Arm(0, true)
	end := times[len(times)-1]
	b.ReportAllocs()
	i, base := 0, 0.0
	for b.Loop() {
		d.Drops(at(base+times[i]), 1)
		d.Deadline()
		if i++; i == len(times) {
			i, base = 0, base+end
		}
	}
}
