package page

import (
	"context"
	"net/http"
	"time"

	"weepd/agent"
)

// glandView is what a gland's view has beside its pieces.
type glandView struct {
	ID, Name string
	Charts   *glandCharts
	Tiles    []entryKind
	Entries  []entry
	Outlook  *outlook
	Sections []Section
}

// alarmsMost is how many events of a gland are looked through.
const alarmsMost = 5000

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
		sh.Here, sh.Done = "/gland/"+id, s.texts.say(err.Error())
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
	events, err := s.parts.Journal.Between(ctx, agent.Happened{Gland: g.ID, From: w.From, To: minTime(w.To, st.now.Add(time.Second))}, alarmsMost)
	if err != nil {
		return nil, err
	}
	v.Entries, v.Outlook = entriesOf(g.gland, st.now), s.outlookOf(g.gland, st.now)
	v.Charts, err = s.chartsOf(ctx, st, g, w, s.marksOf(events, v.Entries, st, g, w))
	return v, err
}
