package agent

import (
	"context"

	"weepd/rules/reading"
	"weepd/sensors"
)

// renamed plays a source's points as points of the station.
type renamed struct {
	source sensors.Source
	to     map[reading.Point][]reading.Point
}

func (r *renamed) String() string { return r.source.String() }

// Points implements sensors.Source.
func (r *renamed) Points() (points []reading.Point) {
	for _, p := range r.source.Points() {
		points = append(points, r.to[p]...)
	}
	return points
}

// Run implements sensors.Source.
func (r *renamed) Run(ctx context.Context, emit func(reading.Reading)) error {
	return r.source.Run(ctx, func(x reading.Reading) {
		for _, p := range r.to[x.Point] {
			x.Point = p
			emit(x)
		}
	})
}
