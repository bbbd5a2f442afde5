package agent

import (
	"context"

	"weepd/rules/reading"
	"weepd/sensors"
)

// copying makes a feed speak for the points too that share a sensor of its own.
func copying(f Feed, copies map[reading.Point][]reading.Point) Feed {
	all := withCopies(f.Points, copies)
	if len(all) == len(f.Points) {
		return f
	}
	open := f.Open
	f.Points = all
	f.Open = func() (sensors.Source, error) {
		s, err := open()
		if err != nil {
			return nil, err
		}
		all := copied{s, copies}
		if patient, can := s.(sensors.Patient); can {
			return patientCopied{all, patient}, nil
		}
		return all, nil
	}
	return f
}

func withCopies(points []reading.Point, copies map[reading.Point][]reading.Point) []reading.Point {
	var all []reading.Point
	for _, p := range points {
		all = append(append(all, p), copies[p]...)
	}
	return all
}

// copied is a source whose readings are those of other points as well.
type copied struct {
	sensors.Source
	copies map[reading.Point][]reading.Point
}

// patientCopied is one whose source can wait.
type patientCopied struct {
	copied
	patient sensors.Patient
}

// Heed is the source's.
func (c patientCopied) Heed(p *sensors.Patience) { c.patient.Heed(p) }

// Points are the source's and those that share them.
func (c copied) Points() []reading.Point { return withCopies(c.Source.Points(), c.copies) }

// Run is the source's.
func (c copied) Run(ctx context.Context, emit func(reading.Reading)) error {
	return c.Source.Run(ctx, func(r reading.Reading) {
		emit(r)
		for _, p := range c.copies[r.Point] {
			r.Point = p
			emit(r)
		}
	})
}

// Notes are the source's, for all of the points.
func (c copied) Notes() []sensors.Note {
	source, tells := c.Source.(sensors.Annotated)
	if !tells {
		return nil
	}
	var all []sensors.Note
	for _, n := range source.Notes() {
		all = append(all, n)
		for _, p := range c.copies[n.Point] {
			n.Point = p
			all = append(all, n)
		}
	}
	return all
}
