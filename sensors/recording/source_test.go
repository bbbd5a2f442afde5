package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

func writeRecording(t testing.TB, rows string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "r.csv")
	if err := os.WriteFile(path, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// minutes records n minutes of one drop a minute and a temperature every 10 s.
func minutes(t testing.TB, n int) string {
	t.Helper()
	var b strings.Builder
	w := NewWriter(&b)
	start := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	for s := range 6 * n {
		r := reading.Reading{Point: reading.Point{Gland: "a", Kind: reading.Temp}, Value: 20}
		err := w.Write(r, start.Add(time.Duration(s)*10*time.Second))
		if s%6 == 3 {
			r.Point.Kind, r.Value = reading.Drip, 1
			err = errors.Join(err, w.Write(r, start.Add(time.Duration(s)*10*time.Second+time.Second)))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return writeRecording(t, b.String())
}

func TestSourceConforms(t *testing.T) {
	source := func(cfg Config) func(testing.TB, sensors.Clock) (sensors.Source, sensortest.Device) {
		return func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
			s, err := New(cfg, clock)
			if err != nil {
				t.Fatal(err)
			}
			return s, nil
		}
	}
	t.Run("long", func(t *testing.T) {
		sensortest.Conform(t, sensortest.Case{New: source(Config{Path: minutes(t, 5)})})
	})
	t.Run("ends", func(t *testing.T) {
		sensortest.Conform(t, sensortest.Case{New: source(Config{Path: minutes(t, 1)}), Ends: true})
	})
	t.Run("fast", func(t *testing.T) {
		sensortest.Conform(t, sensortest.Case{New: source(Config{Path: minutes(t, 15), Speed: 10}), Ends: true, Ahead: true})
	})
}

type played struct {
	after time.Duration // on the clock, since the start
	r     reading.Reading
}

// play runs a source in fake time; At is made relative to the start.
func play(t *testing.T, cfg Config) (got []played, err error) {
	t.Helper()
	begun := time.Now()
	const epoch = 1e18
	clock := func() time.Duration { return epoch + time.Since(begun) }
	s, err := New(cfg, clock)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Run(t.Context(), func(r reading.Reading) {
		r.At -= epoch
		got = append(got, played{time.Since(begun), r})
	})
	return got, err
}

const sparse = Header + `
2026-03-01T08:00:00Z,a.drip,2
2026-03-01T08:00:25Z,a.temp,20
2026-03-01T08:01:26Z,a.temp,21
2026-03-01T08:01:30Z,b.drip,1
2026-03-01T08:01:41Z,a.run,1
`

func TestSourceKeepsDistancesAndFillsSilenceButNoGap(t *testing.T) {
	path := writeRecording(t, sparse)
	want := []struct {
		second float64
		point  string
		value  float64
	}{
		{0, "a.drip", 2}, {10, "a.drip", 0}, {10, "b.drip", 0}, {20, "a.drip", 0}, {20, "b.drip", 0}, {25, "a.temp", 20},
		// 61 s without any row: nobody watched.
		{86, "a.temp", 21}, {90, "b.drip", 1}, {96, "a.drip", 0}, {100, "b.drip", 0}, {101, "a.run", 1},
	}
	for _, speed := range []float64{0, 1, 10, 0.5} {
		synctest.Test(t, func(t *testing.T) {
			got, err := play(t, Config{Path: path, Speed: speed})
			if err != nil || len(got) != len(want) {
				t.Fatalf("speed %g: %v, %v", speed, got, err)
			}
			for i, g := range got {
				w := want[i]
				if g.r.Point.String() != w.point || g.r.Value != w.value || g.r.At.Seconds() != w.second {
					t.Errorf("speed %g: row %d is %v, want %v", speed, i, g.r, w)
				}
				if after := g.after.Seconds() * max(speed, 0.5); speed != 0 && after != w.second {
					t.Errorf("speed %g: row %d came after %s", speed, i, g.after)
				}
			}
		})
	}
}

func point(t testing.TB, s string) reading.Point {
	t.Helper()
	p, err := reading.ParsePoint(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestSourcePlaysWhatIsRouted(t *testing.T) {
	path := writeRecording(t, sparse)
	temp, drip := point(t, "a.temp"), point(t, "b.drip")
	routes := []Route{{temp, point(t, "p1.temp")}, {temp, point(t, "p2.temp")}, {drip, point(t, "p1.drip")}}
	synctest.Test(t, func(t *testing.T) {
		got, err := play(t, Config{Path: path, Routes: routes})
		if err != nil {
			t.Fatal(err)
		}
		var rows []string
		for _, g := range got {
			rows = append(rows, fmt.Sprintf("%s %s %g", g.r.At, g.r.Point, g.r.Value))
		}
		want := "10s p1.drip 0, 20s p1.drip 0, 25s p1.temp 20, 25s p2.temp 20, 1m26s p1.temp 21, 1m26s p2.temp 21, 1m30s p1.drip 1, 1m40s p1.drip 0"
		if have := strings.Join(rows, ", "); have != want {
			t.Errorf("got  %s\nwant %s", have, want)
		}
	})
}

func TestBrokenRecordingIsPlayedUpToItsFault(t *testing.T) {
	path := writeRecording(t, Header+"\n2026-03-01T08:00:00Z,a.temp,20\n2026-03-01T08:00:01Z,a.temp,warm\n")
	synctest.Test(t, func(t *testing.T) {
		got, err := play(t, Config{Path: path})
		if len(got) != 1 || err == nil || !strings.Contains(err.Error(), path+":3: temp value") {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

func TestNewRefuses(t *testing.T) {
	good := writeRecording(t, sparse)
	cases := map[string]Config{
		"above 0":          {Path: good, Speed: -1},
		"standard input":   {Path: "-"},
		"no rows":          {Path: writeRecording(t, Header+"\n")},
		"empty file":       {Path: writeRecording(t, "")},
		"no such file":     {Path: filepath.Join(t.TempDir(), "none.csv")},
		":2: temp value":   {Path: writeRecording(t, Header+"\n2026-03-01T08:00:00Z,a.temp,x\n")},
		"no row of point ": {Path: good, Routes: []Route{{point(t, "c.drip"), point(t, "a.drip")}}},
		"cannot be played": {Path: good, Routes: []Route{{point(t, "a.temp"), point(t, "a.ref")}}},
		"is played twice":  {Path: good, Routes: []Route{{point(t, "a.drip"), point(t, "a.drip")}, {point(t, "b.drip"), point(t, "a.drip")}}},
	}
	for want, cfg := range cases {
		if _, err := New(cfg, nil); err == nil || !strings.Contains(err.Error(), want) || errors.Is(err, io.EOF) {
			t.Errorf("New(%v) = %v, want %q", cfg, err, want)
		}
	}
}

func TestCancelEndsWaiting(t *testing.T) {
	path := writeRecording(t, sparse)
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		s, err := New(Config{Path: path, Speed: 1e-9}, func() time.Duration { return time.Since(begun) })
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		if err := s.Run(ctx, func(reading.Reading) {}); err != nil || time.Since(begun) != time.Hour {
			t.Errorf("Run = %v after %s", err, time.Since(begun))
		}
	})
}
