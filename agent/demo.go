package agent

import (
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors/simulated"
)

// DemoStation is the id of the simulated station of the demonstration.
const DemoStation = "quarry"

// demoTiming is what a configuration has by default.
var demoTiming = rules.Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, RunIn: 4 * time.Hour, DeadbandPercent: 5}

// Demo gives the glands and the source of the demonstration.
func Demo(clock *Clock) ([]GlandInfo, []Feed, error) {
	source, err := simulated.New(simulated.DemoStation(), clock.Steady)
	if err != nil {
		return nil, nil, err
	}
	var fitted rules.Fitted
	for k := range reading.Kinds {
		fitted[k] = true
	}
	var glands []GlandInfo
	for _, g := range simulated.DemoGlands() {
		glands = append(glands, GlandInfo{Name: g.Name, Rules: rules.GlandConfig{
			ID: g.ID, NormalDPM: g.NormalDPM, Fitted: fitted, Timing: demoTiming,
			Limits: rules.Limits{
				DryDPM: g.DryDPM, LeakDPM: g.LeakDPM, GushDPM: g.GushDPM, RiseC: g.RiseC, FalseAlarmsPerYear: 1,
			},
		}})
	}
	return glands, []Feed{FixedFeed(source)}, nil
}

// DemoAlarms gives the alarms' settings of the demonstration.
func DemoAlarms() AlarmSettings {
	return AlarmSettings{LongestShelf: 24 * time.Hour, Settle: 10 * time.Minute}
}
