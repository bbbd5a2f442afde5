package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"
)

const (
	maxStreams     = 64
	streamEvery    = time.Second     // readings at most
	streamSilence  = 5 * time.Second // a comment at the least, so that a lost link shows
	streamDeadline = 10 * time.Second
)

// stream sends server-sent events: `event` for each journal entry after
// Last-Event-ID (or after=SEQ; by default only what comes), `gland` for each
// gland whose reading changed, beginning with all.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		http.Error(w, "too many streams", http.StatusServiceUnavailable)
		return
	}
	after, err := s.streamStart(r)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	st := streaming{s: s, w: w, control: http.NewResponseController(w), after: after, sent: make(map[string]gland)}
	for {
		changed := s.parts.Board.Changed()
		if err := st.catchUp(r); err != nil {
			return // the client is gone
		}
		if !st.wait(r, changed) {
			return
		}
	}
}

func (s *Server) streamStart(r *http.Request) (uint64, error) {
	for _, given := range []string{r.Header.Get("Last-Event-ID"), r.URL.Query().Get("after")} {
		if given != "" {
			return parseSeq(given)
		}
	}
	return s.parts.Board.Latest().Seq, nil
}

type streaming struct {
	s       *Server
	w       http.ResponseWriter
	control *http.ResponseController
	after   uint64
	sent    map[string]gland
	looked  time.Time
}

func (st *streaming) catchUp(r *http.Request) error {
	if err := st.control.SetWriteDeadline(time.Now().Add(streamDeadline)); err != nil {
		return err
	}
	events, err := st.s.parts.Journal.Events(r.Context(), st.after, eventsMost)
	if err != nil {
		return err
	}
	for _, e := range events {
		if err := st.send("event", e.Seq, e); err != nil {
			return err
		}
		st.after = e.Seq
	}
	if time.Since(st.looked) >= streamEvery {
		st.looked = time.Now()
		if err := st.sendGlands(); err != nil {
			return err
		}
	}
	return st.control.Flush()
}

func (st *streaming) sendGlands() error {
	latest := st.s.parts.Board.Latest()
	for _, g := range latest.Glands {
		now := newGland(latest, g)
		if last, known := st.sent[now.ID]; known && same(last, now) {
			continue
		}
		if err := st.send("gland", 0, now); err != nil {
			return err
		}
		st.sent[now.ID] = now
	}
	return nil
}

// same compares all but the time.
func same(a, b gland) bool {
	a.Time, b.Time = time.Time{}, time.Time{}
	x, errA := json.Marshal(a)
	y, errB := json.Marshal(b)
	return errA == nil && errB == nil && string(x) == string(y)
}

func (st *streaming) send(kind string, seq uint64, v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if seq > 0 {
		if _, err := fmt.Fprintf(st.w, "id: %d\n", seq); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(st.w, "event: %s\ndata: %s\n\n", kind, text)
	return err
}

// wait returns at the next change, but for readings not before their time.
func (st *streaming) wait(r *http.Request, changed <-chan struct{}) bool {
	silence := time.NewTimer(streamSilence)
	defer silence.Stop()
	select {
	case <-r.Context().Done():
		return false
	case <-changed:
		return true
	case <-silence.C:
		_, err := fmt.Fprint(st.w, ": still here\n\n")
		return err == nil
	}
}
