package agent

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"weepd/sensors/simulated"
)

// AddEvent reads GLAND:WHAT@AFTER[:DPM[:OVER]] and gives it to its gland.
func (m *Simulation) AddEvent(text string) error {
	wrong := func(why string) error {
		return fmt.Errorf("event %s: %s; want GLAND:WHAT@AFTER[:DPM[:OVER]], like g01:dry@30h:3:10m", text, why)
	}
	parts := strings.Split(text, ":")
	if len(parts) < 2 || len(parts) > 4 {
		return wrong(fmt.Sprintf("%d parts", len(parts)))
	}
	i := slices.IndexFunc(m.Glands, func(g SimulatedGland) bool { return g.ID == parts[0] })
	if i < 0 {
		return wrong("there is no gland " + parts[0])
	}
	what, after, found := strings.Cut(parts[1], "@")
	if !found {
		return wrong("no time")
	}
	e := simulated.Event{Kind: simulated.EventKind(what)}
	var err error
	if e.At, err = time.ParseDuration(after); err != nil {
		return wrong(err.Error())
	}
	if len(parts) > 2 {
		if e.ToDPM, err = strconv.ParseFloat(parts[2], 64); err != nil {
			return wrong(err.Error())
		}
	}
	if len(parts) > 3 {
		if e.Over, err = time.ParseDuration(parts[3]); err != nil {
			return wrong(err.Error())
		}
	}
	m.Glands[i].Events = append(m.Glands[i].Events, e)
	return nil
}
