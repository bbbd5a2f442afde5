package sensors

import (
	"log/slog"
	"slices"
	"sync"
	"time"

	"weepd/rules/reading"
)

// Finding is what came of one question to a device: a value, or why there is
// none.
type Finding struct {
	Value   float64         // in the unit of the point's kind
	Quality reading.Quality // not OK: Value means nothing
	Raw     string          // what the device said, in its own unit, e.g. `107.79 Ω`
	Cause   string          // why the quality is bad or the value limited, and what to look at
}

// Note is what stands behind the latest reading of a point, for people.
type Note struct {
	Point      reading.Point
	Raw, Cause string
}

// Annotated is a Source that can say what stands behind its readings. Notes
// may be called from any goroutine.
type Annotated interface {
	Notes() []Note
}

// Notebook keeps the latest note of each point of a source, and tells the log
// once when a cause comes, changes or goes.
type Notebook struct {
	log   *slog.Logger
	mu    sync.Mutex
	notes []Note
}

// NewNotebook starts without notes. A nil log is silent.
func NewNotebook(log *slog.Logger, source string, points []reading.Point) *Notebook {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	n := &Notebook{log: log.With("source", source)}
	for _, p := range points {
		n.notes = append(n.notes, Note{Point: p})
	}
	return n
}

// Enter notes what was found and makes a reading of it.
func (n *Notebook) Enter(at time.Duration, p reading.Point, f Finding) reading.Reading {
	n.write(Note{p, f.Raw, f.Cause}, f.Quality)
	r := reading.Reading{At: at, Point: p, Quality: f.Quality}
	if f.Quality.OK() {
		r.Value = f.Value
	}
	return r
}

func (n *Notebook) write(note Note, q reading.Quality) {
	n.mu.Lock()
	defer n.mu.Unlock()
	i := slices.IndexFunc(n.notes, func(old Note) bool { return old.Point == note.Point })
	if i < 0 {
		return
	}
	before := n.notes[i].Cause
	n.notes[i] = note
	switch {
	case note.Cause == before:
	case note.Cause == "":
		n.log.Info("sensor reads again", "point", note.Point.String())
	case q.OK():
		n.log.Warn("sensor reads with reserve", "point", note.Point.String(), "cause", note.Cause)
	default:
		n.log.Warn("sensor cannot be read", "point", note.Point.String(), "quality", q.String(), "cause", note.Cause)
	}
}

// Notes gives a copy of the latest notes, one a point.
func (n *Notebook) Notes() []Note {
	n.mu.Lock()
	defer n.mu.Unlock()
	return slices.Clone(n.notes)
}
