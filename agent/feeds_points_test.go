package agent

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// told is a source that says what a test wants, with notes.
type told struct {
	points []reading.Point
	run    func(ctx context.Context, emit func(reading.Reading)) error
	notes  []sensors.Note
}

func (s told) Points() []reading.Point { return s.points }
func (s told) String() string          { return "told" }
func (s told) Notes() []sensors.Note   { return s.notes }
func (s told) Run(ctx context.Context, emit func(reading.Reading)) error {
	return s.run(ctx, emit)
}

func TestPointsShowWhatIsBehindThem(t *testing.T) {
	drip, temp := reading.Point{Gland: "g", Kind: reading.Drip}, reading.Point{Gland: "g", Kind: reading.Temp}
	ref, run := reading.Point{Gland: "g", Kind: reading.Ref}, reading.Point{Gland: "g", Kind: reading.Run}
	synctest.Test(t, func(t *testing.T) {
		clock := NewClock(nil)
		drops := told{[]reading.Point{drip}, func(ctx context.Context, emit func(reading.Reading)) error {
			say := func(n float64, q reading.Quality) {
				emit(reading.Reading{At: clock.Steady(), Point: drip, Value: n, Quality: q})
				time.Sleep(2 * time.Second)
			}
			say(0, reading.Good)
			for range 15 {
				say(1, reading.Good)
			}
			say(0, reading.Lost)
			say(0, reading.Good)
			for range 15 {
				say(1, reading.Good)
			}
			<-ctx.Done()
			return nil
		}, nil}
		reserved := told{[]reading.Point{temp}, func(ctx context.Context, emit func(reading.Reading)) error {
			emit(reading.Reading{At: clock.Steady(), Point: temp, Value: 99.5})
			<-ctx.Done()
			return nil
		}, []sensors.Note{{Point: temp, Raw: "20.6 mA", Cause: "saturated"}}}
		ended := told{[]reading.Point{run}, func(context.Context, func(reading.Reading)) error { return nil }, nil}
		feeds := []Feed{
			FixedFeed(drops), FixedFeed(reserved), FixedFeed(ended),
			{Name: "broken", Points: []reading.Point{ref}, Open: func() (sensors.Source, error) { return nil, errors.New("open it: no such device") }},
		}
		points := NewPoints([]reading.Point{temp, drip, ref, run}, feeds, clock)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- points.Run(ctx) }()
		time.Sleep(66*time.Second + time.Millisecond)
		rows := points.Rows()
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		checkRows(t, rows)
	})
}

func checkRows(t *testing.T, rows []PointRow) {
	t.Helper()
	temp, drip, ref, run := rows[0], rows[1], rows[2], rows[3]
	if temp.Raw != "20.6 mA" || temp.Cause != "saturated" || temp.Source != "told" || temp.Age.Round(time.Second) != 66*time.Second || temp.Reading.Value != 99.5 {
		t.Errorf("temp %+v", temp)
	}
	// 15 drops, one each 2 s, since the loss.
	if drip.Drops != 30 || drip.Bad != 1 || !drip.Known || drip.Weep.DPM < 27 || drip.Weep.DPM > 30 || drip.Weep.LowDPM >= drip.Weep.DPM || drip.Cause != "" {
		t.Errorf("drip %+v", drip)
	}
	if ref.Reading.Quality != reading.NoAnswer || ref.Cause != "open it: no such device" || ref.Source != "broken" {
		t.Errorf("ref %+v", ref)
	}
	if run.Reading.Quality != reading.NoAnswer || !strings.Contains(run.Cause, "come to its end") {
		t.Errorf("run %+v", run)
	}
}

func TestEveryBadQualityHasAHint(t *testing.T) {
	for q := reading.Good; !strings.HasPrefix(q.String(), "quality("); q++ {
		if (hint(q) == "") != (q == reading.Good) {
			t.Errorf("%s: hint %q", q, hint(q))
		}
	}
}
