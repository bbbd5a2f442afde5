package page

import (
	"runtime/debug"
	"time"

	"weepd/agent"
)

// station is what all views show of a snapshot; it is made once for each and
// shared by all who look.
type station struct {
	latest  *agent.Snapshot
	now     time.Time // in the page's zone
	alive   bool
	rows    []row  // worst first
	cards   []card // most urgent first
	byID    map[string]row
	loud    []card // high, not acknowledged
	count   map[string]int
	notices []Notice
}

// Notice is something that everybody who looks must know.
type Notice struct {
	Severity string // high, medium or low
	Text     string
	Since    time.Time // zero: not known
}

// stationNow gives the station as it stands, from memory if nothing changed.
func (s *Server) stationNow() *station {
	latest, alive := s.parts.Board.Latest(), s.parts.Alive()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.made != nil && s.made.latest == latest && s.made.alive == alive && s.madeTrend == s.trends.version() {
		return s.made
	}
	s.madeTrend = s.trends.version()
	s.made = s.makeStation(latest, alive)
	return s.made
}

func (s *Server) makeStation(latest *agent.Snapshot, alive bool) *station {
	st := &station{
		latest: latest, alive: alive, now: latest.Time.In(s.parts.Zone), byID: make(map[string]row, len(latest.Glands)), count: make(map[string]int),
	}
	standing := make(map[string][]agent.Alarm)
	for _, a := range latest.Alarms {
		if a.Standing() {
			standing[a.Gland] = append(standing[a.Gland], a)
		}
	}
	for _, g := range latest.Glands {
		r := s.newRow(latest, st.now, g, standing[g.Rules.ID])
		st.rows = append(st.rows, r)
		st.byID[r.ID] = r
		st.count[r.Level]++
	}
	sortRows(st.rows)
	for _, a := range latest.Alarms {
		if !shown(a) {
			continue
		}
		c := s.newCard(st.now, a, st.byID)
		st.cards = append(st.cards, c)
		if loud(c) {
			st.loud = append(st.loud, c)
		}
	}
	sortCards(st.cards)
	st.notices = s.noticesOf(st, alive)
	return st
}

// open counts the alarms on the operator's list.
func (st *station) open() (n int) {
	for _, c := range st.cards {
		if c.Level != aside {
			n++
		}
	}
	return n
}

func (s *Server) noticesOf(st *station, alive bool) []Notice {
	var list []Notice
	add := func(severity, text string) { list = append(list, Notice{Severity: severity, Text: text}) }
	if !alive {
		add(high, s.texts.say("notice.still"))
	}
	if !st.latest.Time.IsZero() && st.latest.Time.Before(s.parts.Built) {
		add(medium, s.texts.say("notice.clock", full(st.now)))
	}
	store := st.latest.Store
	if store.Problem != "" {
		add(medium, s.texts.say("notice.store", store.Problem, store.Waiting))
	}
	if store.Dropped > 0 {
		add(medium, s.texts.say("notice.dropped", store.Dropped))
	}
	for _, text := range store.Notices {
		add(low, text)
	}
	if s.parts.Notices != nil {
		list = append(list, s.parts.Notices()...)
	}
	return list
}

// built is when the program was made: no clock that is right is before it.
func built() time.Time {
	info, _ := debug.ReadBuildInfo()
	if info == nil {
		return oldest
	}
	for _, one := range info.Settings {
		if one.Key == "vcs.time" {
			if at, err := time.Parse(time.RFC3339, one.Value); err == nil {
				return at.Add(-24 * time.Hour) // of whose clock is not known
			}
		}
	}
	return oldest
}

// oldest is for a build that does not say when it was made.
var oldest = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
