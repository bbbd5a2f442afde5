package page

import (
	"bytes"
	"context"
	"crypto/rand"
	"html/template"
	"net/http"
	"net/url"
	"time"
)

// shell is what the frame of every view needs.
type shell struct {
	View    string
	Title   string
	Icon    string
	Station string
	Zone    string
	Now     time.Time
	User    string
	CanDo   bool
	Version string
	Asset   string
	Script  string
	Style   string
	Stream  string
	Here    string // the view's address, for coming back
	Done    string // what was just done, in words
	Query   query

	Banner, Notices, Counts, Clock, None, Cards, Rows template.HTML

	Cleared []cleared // alarm list
	Gland   *glandView
}

// functions are what the templates call.
func (s *Server) functions() template.FuncMap {
	return template.FuncMap{
		"t":     s.texts.strict,
		"word":  func(prefix, word string) string { return s.texts.orElse(prefix, word) },
		"id":    func() string { return "page-" + rand.Text() },
		"clock": func(at time.Time) string { return at.In(s.parts.Zone).Format("15:04:05") },
		"day":   func(at time.Time) string { return full(at.In(s.parts.Zone)) },
		"iso":   func(at time.Time) string { return at.UTC().Format(time.RFC3339) },
		"shelf": s.shelfChoices,
		"name":  func() string { return s.parts.Board.Latest().Station },
		"short": short,
		"query": func(q string) template.URL { return template.URL(q) }, // made by net/url
		"amend": func(gland, tile string, seq uint64, kind string) amendment { return amendment{gland, tile, seq, kind} },
		"care":  func(tile string) string { return s.texts["record."+tile+".caution"] },
		"list":  func(words ...string) []string { return words },
		"more":  func(all, shown int) int { return all - shown },
		"pair":  func(c card, word string) cardAction { return cardAction{c, word} },
	}
}

// shelfChoice is a time that may be shelved for.
type shelfChoice struct{ Value, Text string }

func (s *Server) shelfChoices() []shelfChoice {
	var list []shelfChoice
	for _, d := range []time.Duration{30 * time.Minute, time.Hour, 2 * time.Hour, 4 * time.Hour, 8 * time.Hour, 24 * time.Hour, 72 * time.Hour} {
		if d <= s.parts.LongestShelf {
			list = append(list, shelfChoice{d.String(), s.texts.span(d)})
		}
	}
	if len(list) == 0 && s.parts.LongestShelf > 0 {
		list = append(list, shelfChoice{s.parts.LongestShelf.String(), s.texts.span(s.parts.LongestShelf)})
	}
	return list
}

// amendment is what a form of an entry holds beside its fields.
type amendment struct {
	Gland, Tile string
	Seq         uint64
	Kind        string
}

// title says the worst first.
func (s *Server) title(st *station) string {
	name := st.latest.Station
	switch {
	case len(st.loud) > 0:
		return s.texts.say("title.loud", len(st.loud), name)
	case st.open() > 0:
		return s.texts.say("title.open", st.open(), name)
	default:
		return s.texts.say("title.calm", name)
	}
}

func (s *Server) icon(st *station) string {
	name := "normal.svg"
	switch {
	case len(st.loud) > 0:
		name = "loud.svg"
	case st.open() > 0:
		name = "open.svg"
	}
	return s.static.address(name)
}

func (s *Server) overview(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, query{View: viewOverview, Text: r.URL.Query().Get("q")}, nil)
}

func (s *Server) alarmList(w http.ResponseWriter, r *http.Request) {
	q := queryOf(r.URL.Query())
	q.View = viewAlarms
	s.show(w, r, q, func(sh *shell, st *station) error {
		list, err := s.clearedToday(r.Context(), st)
		sh.Cleared = list
		return err
	})
}

// show writes a view: its pieces in their frame. more fills in the rest.
func (s *Server) show(w http.ResponseWriter, r *http.Request, q query, more func(*shell, *station) error) {
	st := s.stationNow()
	sh, err := s.shellOf(r, st, q)
	if err == nil && more != nil {
		err = more(sh, st)
	}
	if err != nil {
		s.broken(w, err)
		return
	}
	s.write(w, http.StatusOK, "page", sh)
}

func (s *Server) shellOf(r *http.Request, st *station, q query) (*shell, error) {
	sh := s.frame(r, st)
	sh.View, sh.Query = q.View, q
	pieces := s.pieces(st, q)
	has := newKnown()
	if _, err := s.follow(has, st, nil); err != nil { // title and lists
		return nil, err
	}
	var cards, rows bytes.Buffer
	places := map[string]*template.HTML{"banner": &sh.Banner, "notices": &sh.Notices, "counts": &sh.Counts, "clock": &sh.Clock, "none": &sh.None}
	order := make(map[string][]string)
	for _, p := range pieces {
		has.sums[p.id], has.live[p.id] = p.sum, p.live
		place, fixed := places[p.id]
		if !fixed && p.list == "" {
			continue // part of a card
		}
		html, err := s.html(p)
		switch {
		case err != nil:
			return nil, err
		case fixed:
			*place = html
		case p.list == "alarms":
			cards.WriteString(string(html))
		default:
			rows.WriteString(string(html))
		}
		if p.list != "" {
			order[p.list] = append(order[p.list], p.id)
		}
	}
	for list, ids := range order {
		has.lists[list] = joined(ids)
	}
	sh.Cards, sh.Rows = template.HTML(cards.String()), template.HTML(rows.String())
	sh.Stream = "/live?" + q.encode() + "&have=" + url.QueryEscape(s.remember(has))
	return sh, nil
}

// frame is a shell without its pieces.
func (s *Server) frame(r *http.Request, st *station) *shell {
	return &shell{
		Title: s.title(st), Icon: s.icon(st), Station: st.latest.Station, Now: st.now, Zone: st.now.Format("MST"),
		User: s.user(r.Context()), CanDo: s.parts.Do != nil && s.parts.CanLogIn, Version: s.parts.Version,
		Asset: s.asset, Script: s.static.address("weepd.js"), Style: s.static.address("weepd.css"),
		Here: r.URL.RequestURI(), Done: s.doneWords(r.URL.Query().Get("done")),
	}
}

func (s *Server) user(ctx context.Context) string {
	if s.parts.User == nil {
		return ""
	}
	return s.parts.User(ctx)
}

func (s *Server) write(w http.ResponseWriter, status int, name string, data any) {
	var out bytes.Buffer
	if err := s.templates.ExecuteTemplate(&out, name, data); err != nil {
		s.broken(w, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	if _, err := out.WriteTo(w); err != nil {
		s.parts.Log.Debug("page not sent", "error", err)
	}
}

func (s *Server) broken(w http.ResponseWriter, err error) {
	s.parts.Log.Error("page not made", "error", err)
	http.Error(w, s.texts.say("page.broken"), http.StatusInternalServerError)
}
