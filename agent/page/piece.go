package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/maphash"
	"html/template"
	"net/url"
	"strings"
)

// A view is made of pieces: elements with an id that are put on the page and
// replaced as wholes, and in them places for texts that change with every
// reading. The page and what follows it over the stream are the same pieces.
type piece struct {
	id       string
	list     string // id of the element that it is listed in; empty: it has its place
	template string
	data     any
	sum      uint64   // of all but the live texts
	live     []string // by the number of their place
}

// Views.
const (
	viewOverview = "overview"
	viewAlarms   = "alarms"
	viewGland    = "gland"
)

// query is what a view shows; it is in the page's address and in its stream's.
type query struct {
	View     string
	Gland    string
	Text     string // part of a name or id
	Priority string
	State    string // waiting, inhand or aside
}

func queryOf(values url.Values) query {
	return query{
		View: values.Get("view"), Gland: values.Get("gland"), Text: values.Get("q"),
		Priority: values.Get("priority"), State: values.Get("state"),
	}
}

func (q query) encode() string {
	values := url.Values{"view": {q.View}}
	for key, value := range map[string]string{"gland": q.Gland, "q": q.Text, "priority": q.Priority, "state": q.State} {
		if value != "" {
			values.Set(key, value)
		}
	}
	return values.Encode()
}

// names reports whether what is looked for is part of one of the texts.
func (q query) names(texts ...string) bool {
	return strings.Contains(strings.ToLower(strings.Join(texts, "\n")), strings.ToLower(q.Text))
}

func (q query) wants(c card) bool {
	switch {
	case q.Gland != "" && q.Gland != c.Gland,
		q.Priority != "" && q.Priority != c.Priority,
		q.Text != "" && !q.names(c.Name, c.Gland, c.Word):
		return false
	}
	switch q.State {
	case "waiting":
		return c.Waiting
	case "inhand":
		return !c.Waiting && c.Level != aside
	case "aside":
		return c.Level == aside
	default:
		return true
	}
}

// overviewCards is how many alarms the overview shows beside the glands.
const overviewCards = 6

// pieces gives a view's pieces in the order of the page.
func (s *Server) pieces(st *station, q query) []piece {
	list := []piece{s.whole("banner", st.loud), s.whole("notices", st.notices), s.whole("counts", countsOf(st)), s.clock(st)}
	var cards []card
	for _, c := range st.cards {
		if q.View == viewOverview && (c.Level == aside || len(cards) == overviewCards) || q.View != viewOverview && !q.wants(c) {
			continue
		}
		cards = append(cards, c)
	}
	list = append(list, s.whole("none", noneOf(q, len(cards), st)))
	for _, c := range cards {
		list = append(list, s.cardPieces(c)...)
	}
	switch q.View {
	case viewOverview:
		for _, r := range st.rows {
			if q.Text == "" || q.names(r.Name, r.ID) {
				list = append(list, s.rowPiece(r, "glands"))
			}
		}
	case viewGland:
		if r, found := st.byID[q.Gland]; found {
			list = append(list, s.rowPiece(r, "glands"))
		}
	}
	return list
}

// counts are in the navigation.
type counts struct{ Alarms, Waiting, Glands int }

func countsOf(st *station) counts {
	c := counts{Alarms: st.open(), Glands: len(st.rows)}
	for _, one := range st.cards {
		if one.Waiting && one.Level != aside {
			c.Waiting++
		}
	}
	return c
}

// none says what the list of alarms leaves out.
type none struct {
	Empty    bool
	Filtered bool
	More     int // on the overview: in the list of alarms only
}

func noneOf(q query, shown int, st *station) none {
	n := none{Empty: shown == 0, Filtered: q.Text+q.Priority+q.State != ""}
	if q.View == viewOverview {
		n.More = len(st.cards) - shown
	}
	return n
}

func (s *Server) clock(st *station) piece {
	return piece{id: "clock", template: "clock", data: st.now, live: []string{st.now.Format("15:04:05")}, sum: s.sum(st.now.Format("2006-01-02 MST"))}
}

func (s *Server) rowPiece(r row, list string) piece {
	return piece{id: "g-" + r.ID, list: list, template: "row", data: r, live: r.live(), sum: maphash.Comparable(s.seed, r.fixed())}
}

// cardPieces are the card, which stays while the alarm stands, so that nobody
// loses what he is typing, and what changes in it.
func (s *Server) cardPieces(c card) []piece {
	return []piece{
		{id: c.ID, list: "alarms", template: "card", data: c, sum: s.sum(c.ID)},
		{id: c.ID + "-b", template: "body", data: c, live: []string{c.Now}, sum: s.sum(c.body())},
		{id: c.ID + "-f", template: "forms", data: c, sum: s.sum(c.Actions)},
	}
}

// whole is a piece that is named as its template and has nothing live.
func (s *Server) whole(id string, data any) piece {
	return piece{id: id, template: id, data: data, sum: s.sum(data)}
}

func (s *Server) sum(data any) uint64 {
	text, err := json.Marshal(data)
	if err != nil { // not a plain value: never alike
		s.parts.Log.Error("page: a piece cannot be compared", "error", err)
		return 0
	}
	return maphash.Bytes(s.seed, text)
}

// html writes a piece.
func (s *Server) html(p piece) (template.HTML, error) {
	var out bytes.Buffer
	if err := s.templates.ExecuteTemplate(&out, p.template, p.data); err != nil {
		return "", fmt.Errorf("piece %s: %w", p.id, err)
	}
	return template.HTML(out.String()), nil // escaped by the template
}

func joined(ids []string) string { return strings.Join(ids, " ") }
