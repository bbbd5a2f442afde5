package agent

import (
	"fmt"
	"reflect"
	"slices"
	"time"

	"weepd/agent/config"
	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

// AlarmSettings are the alarms' settings of a station.
type AlarmSettings struct {
	LongestShelf time.Duration // 0: alarms may not be shelved
	Latched      []string      // conditions whose alarms stay until a person resets them
	// Settle is how long the rules may take after a start to find again what
	// was active before it; what they do not find clears.
	Settle time.Duration
	// References are groups of glands with one reference sensor.
	References [][]string
}

// Shared causes have a dot in their id, which no gland's has.
const (
	causeSupply    = "shared.supply"
	causeReference = "shared.reference"

	// causeHold is how long a sensor's fault waits for the same of other
	// glands: sensors that are polled do not fail at the same instant.
	causeHold = 10 * time.Second
	// supplyLeast glands whose sensors fail within causeHold are no chance.
	supplyLeast = 3
)

// AlarmSettingsOf gives the alarms' settings of a configuration.
func AlarmSettingsOf(cfg *config.Config) AlarmSettings {
	return AlarmSettings{
		LongestShelf: cfg.Alarms.LongestShelf, Latched: cfg.Alarms.Latched, Settle: cfg.Alarms.Settle,
		References: sharedReferences(cfg.Glands),
	}
}

// sharedReferences groups the glands whose ref has the same source.
func sharedReferences(glands []config.Gland) (groups [][]string) {
	var sources []*config.Source
	for _, g := range glands {
		ref := g.Sensors[reading.Ref]
		if ref == nil {
			continue
		}
		i := slices.IndexFunc(sources, func(s *config.Source) bool { return reflect.DeepEqual(s, ref) })
		if i < 0 {
			i = len(sources)
			sources, groups = append(sources, ref), append(groups, nil)
		}
		groups[i] = append(groups[i], g.ID)
	}
	return slices.DeleteFunc(groups, func(ids []string) bool { return len(ids) < 2 })
}

// newBook makes the book of a station.
//
// Nothing is suppressed by design here: the rules themselves take `dry` back
// while the shaft is at rest, and a `dry` that was raised before the stop must
// stay on the operator's list until somebody has seen it, which suppression
// would undo.
func newBook(glands []GlandInfo, s AlarmSettings, clock *Clock) (*alarm.Book, error) {
	return alarm.NewBook(bookConfig(glands, s, clock))
}

func bookConfig(glands []GlandInfo, s AlarmSettings, clock *Clock) alarm.Config {
	cfg := alarm.Config{
		Policies: make(map[string]alarm.Policy), Hold: clock.steady(causeHold), Causes: causes(glands, s.References),
	}
	for _, g := range glands {
		cfg.Glands = append(cfg.Glands, g.Rules.ID)
	}
	for c := range rules.Conditions {
		cfg.Policies[c.String()] = alarm.Policy{
			Latching: slices.Contains(s.Latched, c.String()), LongestShelf: clock.steady(s.LongestShelf),
		}
	}
	return cfg
}

// causes gives what glands share whose loss would be a flood of alarms: their
// reference sensors, and the supply of all sensors.
func causes(glands []GlandInfo, references [][]string) []alarm.Cause {
	temp, drip := rules.TempSensor.String(), rules.DripSensor.String()
	var list []alarm.Cause
	for i, group := range references {
		id := causeReference
		if i > 0 {
			id += fmt.Sprintf("-%d", i+1)
		}
		list = append(list, alarm.Cause{
			ID: id, As: temp, Conditions: []string{temp}, Glands: group, Least: max(2, len(group)-1),
		})
	}
	var watched []string
	for _, g := range glands {
		if g.Rules.Fitted[reading.Drip] || g.Rules.Fitted[reading.Temp] {
			watched = append(watched, g.Rules.ID)
		}
	}
	if len(watched) < 2 {
		return list
	}
	return append(list, alarm.Cause{
		ID: causeSupply, As: drip, Conditions: []string{temp, drip}, Glands: watched, Least: min(supplyLeast, len(watched)),
	})
}

// emptyAlarms lists every alarm that may be: glands in order, urgent
// conditions first, then the shared causes.
func emptyAlarms(glands []GlandInfo, references [][]string) []Alarm {
	var list []Alarm
	add := func(gland string, c rules.Condition) {
		list = append(list, Alarm{
			Gland: gland, Condition: c.String(), State: StateCleared, Priority: c.Priority().String(),
			AlarmState: alarm.Normal.String(),
		})
	}
	for _, g := range glands {
		for c := range rules.Conditions {
			add(g.Rules.ID, c)
		}
	}
	for _, cause := range causes(glands, references) {
		if c, known := rules.ParseCondition(cause.As); known {
			add(cause.ID, c)
		}
	}
	return list
}
