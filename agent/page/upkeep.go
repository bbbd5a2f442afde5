package page

import (
	"fmt"
	"net/http"
	"strings"

	"weepd/agent"
)

// upkeep gives what is known of the upkeep of one gland (`?gland=ID`) or of all.
func (s *Server) upkeep(w http.ResponseWriter, r *http.Request) {
	id := r.URL.Query().Get("gland")
	out := []*agent.UpkeepState{}
	var ids []string
	for _, g := range s.parts.Board.Latest().Glands {
		ids = append(ids, g.Rules.ID)
		if g.Upkeep != nil && (id == "" || id == g.Rules.ID) {
			out = append(out, g.Upkeep)
		}
	}
	switch {
	case id == "":
		s.answer(w, out)
	case len(out) == 1:
		s.answer(w, out[0])
	default:
		w.WriteHeader(http.StatusNotFound)
		s.answer(w, map[string]string{"error": fmt.Sprintf("no gland %q; the glands are %s", id, strings.Join(ids, ", "))})
	}
}
