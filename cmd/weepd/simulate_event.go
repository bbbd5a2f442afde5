package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"weepd/sensors/simulated"
)

// addEvent reads GLAND:WHAT@AFTER[:DPM[:OVER]] and gives it to its gland.
func addEvent(glands []simulated.Gland, text string) error {
	wrong := func(why string) error {
		return fmt.Errorf("--event %s: %s; want GLAND:WHAT@AFTER[:DPM[:OVER]], like g01:dry@30h:3:10m", text, why)
	}
	parts := strings.Split(text, ":")
	if len(parts) < 2 || len(parts) > 4 {
		return wrong(fmt.Sprintf("%d parts", len(parts)))
	}
	i := slices.IndexFunc(glands, func(g simulated.Gland) bool { return g.ID == parts[0] })
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
	// Glands start from one value, so their events must not share an array.
	glands[i].Events = append(slices.Clip(glands[i].Events), e)
	return nil
}
