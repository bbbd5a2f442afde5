package page

import (
	"context"
	"net/http"
	"slices"
	"time"

	"weepd/agent"
)

// glandView is what a gland's view has beside its pieces.
type glandView struct {
	ID, Name string
	Charts   *glandCharts
	Tiles    []entryKind
	Entries  []entry
	Sections []Section
}

// entriesSpan is how far back work is listed.
const (
	entriesSpan = 90 * 24 * time.Hour
	entriesMost = 50
	eventsOfAll = 5000 // events of a gland that are looked through
)

func (s *Server) glandPage(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	if _, found := s.stationNow().byID[id]; !found {
		sh := s.frame(r, s.stationNow())
		sh.Here, sh.Done = "/", s.texts.say("gland.unknown")
		s.write(w, http.StatusNotFound, "unknown", sh)
		return
	}
	span, err := windowOf(r.URL.Query(), s.stationNow().now)
	if err != nil {
		sh := s.frame(r, s.stationNow())
		sh.Here, sh.Done = "/gland/"+id, err.Error()
		s.write(w, http.StatusBadRequest, "unknown", sh)
		return
	}
	s.show(w, r, query{View: viewGland, Gland: id}, func(sh *shell, st *station) (err error) {
		sh.Gland, err = s.glandOf(r.Context(), st, st.byID[id], span)
		return err
	})
}

func (s *Server) glandOf(ctx context.Context, st *station, g row, w window) (*glandView, error) {
	v := &glandView{ID: g.ID, Name: g.Name, Tiles: entryKinds[:]}
	if s.parts.Sheet != nil {
		v.Sections = s.parts.Sheet(ctx, g.ID)
	}
	events, err := s.parts.Journal.Between(ctx, agent.Happened{Gland: g.ID, From: st.now.Add(-entriesSpan), To: st.now.Add(time.Second)}, eventsOfAll)
	if err != nil {
		return nil, err
	}
	v.Entries = s.entriesOf(events, st.now)
	if w.From.Before(st.now.Add(-entriesSpan)) || w.To.Before(st.now) {
		events, err = s.parts.Journal.Between(ctx, agent.Happened{Gland: g.ID, From: w.From, To: w.To}, eventsOfAll)
		if err != nil {
			return nil, err
		}
	}
	v.Charts, err = s.chartsOf(ctx, st, g, w, s.marksOf(within(events, w), st, g, w))
	return v, err
}

// within leaves out events before the window.
func within(events []agent.Event, w window) []agent.Event {
	return slices.DeleteFunc(slices.Clone(events), func(e agent.Event) bool { return e.Time.Before(w.From) })
}
