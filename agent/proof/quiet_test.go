package proof

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// Every scene must stay where the budget is promised, or its alarms prove nothing.
func TestScenesStayInThePromisedBand(t *testing.T) {
	edges := map[Place]int{}
	for i := range 1000 {
		s := NewScene(i)
		edges[s.Place]++
		if err := s.config().Validate(); err != nil {
			t.Fatalf("%+v: %v", s, err)
		}
		staysInBand(t, s)
		if s.Shape < 1 || s.Shape > 12 || s.Splash > 0.02 || s.Missed > 0.02 || s.RiseC+1.5 > 0.8*sceneRiseC || !s.Signal && s.Stops > 0 {
			t.Errorf("%+v", s)
		}
		at := s.weep(0)
		if s.Place == LowEdge && math.Abs(at/(s.DryDPM*margin)-1) > 1e-9 || s.Place == HighEdge && math.Abs(at*margin/s.LeakDPM-1) > 1e-9 {
			t.Errorf("%+v is not at its edge", s)
		}
	}
	if edges[LowEdge] != 200 || edges[HighEdge] != 200 {
		t.Errorf("%v", edges)
	}
}

// staysInBand follows a scene's weep through its cycles.
func staysInBand(t *testing.T, s Scene) {
	t.Helper()
	for h := range 24 * 20 {
		dpm := s.weep(float64(h) * 3600)
		if dpm < s.DryDPM*margin*0.999999 || dpm > s.LeakDPM/margin*1.000001 {
			t.Fatalf("%+v: %g drops per minute", s, dpm)
		}
	}
}

// A few gland-days in the tests; the centuries are a command.
func TestQuietGlandsAreQuiet(t *testing.T) {
	var told int
	q := Quiet{Scenes: 10, Days: 1.5, Workers: 2, State: filepath.Join(t.TempDir(), "state"), Done: func(Year) { told++ }}
	years, err := q.Run(context.Background())
	if err != nil || len(years) != 10 || told != 10 {
		t.Fatalf("%d years, %d told: %v", len(years), told, err)
	}
	tally := TallyOf(years)
	if tally.Drops < 300000 || math.Abs(tally.GlandYears-15/yearDays) > 1e-9 {
		t.Errorf("%+v", tally)
	}
	for _, y := range Alarmed(years) {
		t.Errorf("false alarms: %+v", y)
	}
}

// The same scene gives the same drops; alarms are not lost when there are any.
func TestScenesCanBeRepeatedAndAlarm(t *testing.T) {
	s := NewScene(3)
	a, err := s.Run(context.Background(), 0.5)
	b, _ := s.Run(context.Background(), 0.5)
	if err != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("%+v, %+v: %v", a, b, err)
	}
	s.LowDPM, s.HighDPM = 2*s.LeakDPM, 2*s.LeakDPM
	s.RiseC = 40
	c, _ := s.Run(context.Background(), 0.5)
	tally := TallyOf([]Year{c})
	if tally.Alarms["leaking"]+tally.Alarms["gushing"] == 0 || tally.Alarms["burning"] == 0 {
		t.Errorf("a leaking and burning gland gave %+v", c.Alarms)
	}
}

// A run that was broken off goes on; a line cut short is played again.
func TestQuietResumes(t *testing.T) {
	state := filepath.Join(t.TempDir(), "state")
	var told []int
	q := Quiet{Scenes: 3, Days: 0.1, Workers: 2, State: state, Done: func(y Year) { told = append(told, y.Scene.Index) }}
	first, err := q.Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	text, _ := os.ReadFile(state)
	lines := bytes.SplitAfter(text, []byte("\n"))
	cut := append(append([]byte{}, lines[0]...), lines[1][:len(lines[1])/2]...)
	if err := os.WriteFile(state, cut, 0o644); err != nil {
		t.Fatal(err)
	}
	told, q.Scenes = nil, 4
	second, err := q.Run(context.Background())
	if err != nil || len(told) != 3 || len(second) != 4 || TallyOf(second).Drops <= TallyOf(first).Drops {
		t.Errorf("played %v, %d years: %v", told, len(second), err)
	}
	told, q.Scenes = nil, 2
	if third, err := q.Run(context.Background()); err != nil || len(told) != 0 || len(third) != 2 {
		t.Errorf("nothing was left, played %v, %d years: %v", told, len(third), err)
	}
}

func TestQuietRefusesOtherStates(t *testing.T) {
	state := filepath.Join(t.TempDir(), "state")
	q := Quiet{Scenes: 1, Days: 0.1, Workers: 1, State: state, Done: func(Year) {}}
	if _, err := q.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	q.Days = 0.2
	if _, err := q.Run(context.Background()); err == nil || !strings.Contains(err.Error(), "take a new file") {
		t.Errorf("another length: %v", err)
	}
	if err := os.WriteFile(state, []byte("{}\nno\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := q.Run(context.Background()); err == nil || !strings.Contains(err.Error(), "line 2") {
		t.Errorf("junk: %v", err)
	}
}

func TestQuietStopsWhenTold(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	q := Quiet{Scenes: 50, Days: 0.1, Workers: 2, State: filepath.Join(t.TempDir(), "state"), Done: func(Year) { stop() }}
	years, err := q.Run(ctx)
	if err == nil || len(years) == 0 || len(years) > 5 {
		t.Errorf("%d years: %v", len(years), err)
	}
}
