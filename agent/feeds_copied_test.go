package agent

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors"
)

func TestSharedSensorsAreReadOnce(t *testing.T) {
	cfg, err := config.Load(configs + "/good-sensors-shared.yaml")
	if err != nil {
		t.Fatal(err)
	}
	feeds, err := Feeds(cfg, NewClock(nil), nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range feeds {
		got = append(got, f.Name+": "+pointNames(f.Points))
	}
	slices.Sort(got)
	want := "1-wire bus 1: p1-de.ref p1-nde.ref p2-de.ref\ngpio GPIO17: p1-de.drip\ngpio GPIO18: p1-nde.drip\ngpio GPIO22: p1-de.run p1-nde.run"
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("feeds:\n%s\nwant:\n%s", text, want)
	}
	if groups := AlarmSettingsOf(cfg).References; len(groups) != 1 || len(groups[0]) != 3 {
		t.Errorf("references %v, want one of three glands", groups)
	}
}

func pointNames(points []reading.Point) string {
	var names []string
	for _, p := range points {
		names = append(names, p.String())
	}
	return strings.Join(names, " ")
}

func TestSharedSensorSpeaksForAllItsPoints(t *testing.T) {
	a, b, other := reading.Point{Gland: "a", Kind: reading.Run}, reading.Point{Gland: "b", Kind: reading.Run}, reading.Point{Gland: "a", Kind: reading.Temp}
	synctest.Test(t, func(t *testing.T) {
		clock := NewClock(nil)
		source := told{[]reading.Point{a, other}, func(ctx context.Context, emit func(reading.Reading)) error {
			emit(reading.Reading{At: clock.Steady(), Point: a, Value: 1})
			emit(reading.Reading{At: clock.Steady(), Point: other, Quality: reading.Fault})
			<-ctx.Done()
			return nil
		}, []sensors.Note{{Point: a, Raw: "low"}, {Point: other, Cause: "broken"}}}
		feed := copying(FixedFeed(source), map[reading.Point][]reading.Point{a: {b}})
		if names := pointNames(feed.Points); names != "a.run b.run a.temp" {
			t.Errorf("points %s", names)
		}
		opened, err := feed.Open()
		if err != nil || !slices.Equal(opened.Points(), feed.Points) {
			t.Errorf("source of %v, error %v", opened.Points(), err)
		}
		points := NewPoints([]reading.Point{a, b, other}, []Feed{feed}, clock)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- points.Run(ctx) }()
		time.Sleep(time.Second)
		rows := points.Rows()
		for i, row := range rows[:2] {
			if row.Reading.Value != 1 || !row.Reading.Quality.OK() || row.Raw != "low" || row.Reading.At != rows[0].Reading.At {
				t.Errorf("point %d: %+v", i, row)
			}
		}
		if rows[2].Cause != "broken" || rows[2].Reading.Quality != reading.Fault {
			t.Errorf("the point that is not shared: %+v", rows[2])
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
