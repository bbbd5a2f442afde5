package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"weepd/agent"
)

// known is what a browser has of a view.
type known struct {
	sums  map[string]uint64
	live  map[string][]string
	lists map[string]string // ids in order
	title string
}

func newKnown() *known {
	return &known{sums: make(map[string]uint64), live: make(map[string][]string), lists: make(map[string]string)}
}

// update is what follows a page: elements to put, texts to set, lists to order.
type update struct {
	Now   int64               `json:"now"` // the station's clock, ms since 1970
	Alive bool                `json:"alive"`
	Asset string              `json:"asset"` // of script and style: another one means another weepd
	Loud  int                 `json:"loud"`  // high alarms that nobody acknowledged
	Title string              `json:"title,omitempty"`
	Icon  string              `json:"icon,omitempty"`
	Put   []string            `json:"put,omitempty"` // id, HTML, id, HTML, ...
	Set   [][]any             `json:"set,omitempty"` // id, place, text, place, text, ...
	List  map[string][]string `json:"list,omitempty"`
}

// lists are the elements whose children are ordered.
var lists = [...]string{"alarms", "glands"}

// follow gives what a browser lacks of the pieces, and takes note that it has it.
func (s *Server) follow(k *known, st *station, pieces []piece) (update, error) {
	u := update{Now: st.latest.Time.UnixMilli(), Alive: st.alive, Asset: s.asset, Loud: len(st.loud)}
	if title := s.title(st); title != k.title {
		k.title, u.Title, u.Icon = title, title, s.icon(st)
	}
	order := make(map[string][]string)
	there := make(map[string]bool, len(pieces))
	for _, p := range pieces {
		there[p.id] = true
		if p.list != "" {
			order[p.list] = append(order[p.list], p.id)
		}
		sum, had := k.sums[p.id]
		if !had || sum != p.sum {
			html, err := s.html(p)
			if err != nil {
				return u, err
			}
			u.Put = append(u.Put, p.id, string(html))
		} else if set := changed(p.id, k.live[p.id], p.live); set != nil {
			u.Set = append(u.Set, set)
		}
		k.sums[p.id], k.live[p.id] = p.sum, p.live
	}
	for id := range k.sums {
		if !there[id] {
			delete(k.sums, id)
			delete(k.live, id)
		}
	}
	for _, list := range lists {
		ids := joined(order[list])
		if k.lists[list] == ids {
			continue
		}
		k.lists[list] = ids
		if u.List == nil {
			u.List = make(map[string][]string)
		}
		u.List[list] = append([]string{}, order[list]...)
	}
	return u, nil
}

func changed(id string, before, now []string) []any {
	var set []any
	for i, text := range now {
		if i < len(before) && before[i] == text {
			continue
		}
		if set == nil {
			set = []any{id}
		}
		set = append(set, i, text)
	}
	return set
}

// Pages that were just made are remembered, so that their streams send only
// what has changed since.
const (
	pagesMost = 16
	pagesFor  = time.Minute
)

type madePage struct {
	name string
	at   time.Time
	has  *known
}

// remember gives the name by which a page's stream finds what the page has.
func (s *Server) remember(k *known) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pageCount++
	name := s.boot + "-" + strconv.FormatUint(s.pageCount, 10)
	if len(s.pages) >= pagesMost {
		s.pages = s.pages[1:]
	}
	s.pages = append(s.pages, madePage{name, time.Now(), k})
	return name
}

func (s *Server) recall(name string) *known {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, p := range s.pages {
		if p.name == name && time.Since(p.at) < pagesFor {
			s.pages = append(s.pages[:i:i], s.pages[i+1:]...)
			return p.has
		}
	}
	return newKnown()
}

const (
	liveSilence = 2 * time.Second // something comes at least so often, so that a lost link shows
	manyGlands  = 100             // with more, readings come half as often
)

// live sends server-sent events: what changes on the view that the query asks
// for.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		http.Error(w, "too many streams", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	l := &living{
		s: s, w: w, control: http.NewResponseController(w), query: queryOf(r.URL.Query()), has: s.recall(r.URL.Query().Get("have")),
	}
	for {
		changed := s.parts.Board.Changed()
		if err := l.catchUp(); err != nil {
			s.parts.Log.Debug("live stream ended", "error", err)
			return
		}
		silence := time.NewTimer(liveSilence)
		select {
		case <-r.Context().Done():
			silence.Stop()
			return
		case <-changed:
			silence.Stop()
		case <-silence.C:
		}
	}
}

// living is one stream.
type living struct {
	s       *Server
	w       http.ResponseWriter
	control *http.ResponseController
	query   query
	has     *known
	shown   *agent.Snapshot
	sent    time.Time
}

func (l *living) catchUp() error {
	latest := l.s.parts.Board.Latest()
	every := l.s.parts.Every
	if len(latest.Glands) > manyGlands {
		every *= 2
	}
	if !l.urgent(latest) && time.Since(l.sent) < every-every/8 { // snapshots are not on the dot
		return nil
	}
	st := l.s.stationNow()
	u, err := l.s.follow(l.has, st, l.s.pieces(st, l.query))
	if err != nil {
		return err
	}
	text, err := json.Marshal(u)
	if err != nil {
		return err
	}
	if err := l.control.SetWriteDeadline(time.Now().Add(streamDeadline)); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(l.w, "data: %s\n\n", text); err != nil {
		return err
	}
	l.shown, l.sent = st.latest, time.Now()
	return l.control.Flush()
}

// urgent reports that something happened: an alarm or what a person did. The
// snapshots share their alarms while nothing does.
func (l *living) urgent(latest *agent.Snapshot) bool {
	if l.shown == nil || l.shown.Seq != latest.Seq || len(l.shown.Alarms) != len(latest.Alarms) {
		return true
	}
	return len(latest.Alarms) > 0 && &l.shown.Alarms[0] != &latest.Alarms[0]
}
