package page

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
)

const eventsMost = 1000 // in one answer

// limits in force of a gland.
type limits struct {
	DryDPM  float64 `json:"dry_dpm"`
	LeakDPM float64 `json:"leak_dpm"`
	GushDPM float64 `json:"gush_dpm"`
	RiseC   float64 `json:"rise_c"`
}

// gland is a gland in the API: its latest reading and what it is judged by.
type gland struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	agent.GlandReading
	Drops  *uint64  `json:"drops,omitempty"` // since the agent started
	Limits limits   `json:"limits"`
	Alarms []string `json:"alarms"` // active conditions, most urgent first
}

func newGland(s *agent.Snapshot, g agent.Gland) gland {
	l := g.Rules.Limits
	out := gland{
		ID: g.Rules.ID, Name: g.Name,
		GlandReading: agent.NewGlandReading(s.Time, g.State),
		Limits:       limits{l.DryDPM, l.LeakDPM, l.GushDPM, l.RiseC},
		Alarms:       []string{},
	}
	if dripFitted(g.Rules) {
		out.Drops = &g.State.Drops
	}
	for _, a := range s.Alarms {
		if a.Gland == g.Rules.ID && a.Active() {
			out.Alarms = append(out.Alarms, a.Condition)
		}
	}
	return out
}

func dripFitted(g rules.GlandConfig) bool { return g.Fitted[reading.Drip] }

func (s *Server) glands(w http.ResponseWriter, _ *http.Request) {
	latest := s.parts.Board.Latest()
	out := make([]gland, 0, len(latest.Glands))
	for _, g := range latest.Glands {
		out = append(out, newGland(latest, g))
	}
	s.answer(w, out)
}

// alarms gives those that are active, wait for somebody or are set aside;
// `all` gives every condition of every gland.
func (s *Server) alarms(w http.ResponseWriter, r *http.Request) {
	all := r.URL.Query().Has("all")
	out := []agent.Alarm{}
	for _, a := range s.parts.Board.Latest().Alarms {
		if all || a.Standing() {
			out = append(out, a)
		}
	}
	s.answer(w, out)
}

func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	after, err := parseSeq(r.URL.Query().Get("after"))
	if err != nil {
		w.WriteHeader(http.StatusBadRequest)
		s.answer(w, map[string]string{"error": err.Error()})
		return
	}
	events, err := s.parts.Journal.Events(r.Context(), after, eventsMost)
	if err != nil {
		s.parts.Log.Error("journal cannot be read", "error", err)
		w.WriteHeader(http.StatusInternalServerError)
		s.answer(w, map[string]string{"error": "the journal cannot be read; see the agent's log"})
		return
	}
	if events == nil {
		events = []agent.Event{}
	}
	s.answer(w, events)
}

func parseSeq(text string) (uint64, error) {
	if text == "" {
		return 0, nil
	}
	seq, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("after=%q: want the seq of an event, a whole number", text)
	}
	return seq, nil
}

func (s *Server) answer(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	s.encode(w, v)
}

func (s *Server) encode(w io.Writer, v any) {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(v); err != nil {
		s.parts.Log.Debug("answer not sent", "error", err)
	}
}
