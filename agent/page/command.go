package page

import (
	"errors"
	"io"
	"net/http"

	"weepd/agent"
	"weepd/rules/alarm"
)

// command takes what MQTT's topic `command` takes, and replies in the body.
func (s *Server) command(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(io.LimitReader(r.Body, agent.MaxCommand+1))
	if err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			s.reply(w, agent.Refuse(agent.ReasonTooLarge, "the command is too large; want at most %d bytes", agent.MaxCommand))
			return
		}
		s.reply(w, agent.Refuse(agent.ReasonMalformed, "the request ended too early"))
		return
	}
	c, refused := agent.ParseCommand(body)
	if refused != nil {
		s.reply(w, *refused)
		return
	}
	if c.Time != "" || c.Signature != "" {
		s.reply(w, agent.Refuse(agent.ReasonMalformed, "time and signature belong to commands over MQTT"))
		return
	}
	if s.parts.User != nil {
		if name := s.parts.User(r.Context()); name != "" {
			if c.By != "" && c.By != name {
				s.reply(w, agent.Refuse(agent.ReasonDenied, "by is %q, but %q is logged in; leave by out or log in as that person", c.By, name))
				return
			}
			c.By = name
		}
	}
	s.reply(w, s.parts.Do(r.Context(), c))
}

func (s *Server) reply(w http.ResponseWriter, reply agent.Reply) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(statusOf(reply))
	s.encode(w, reply)
}

// statusOf gives the HTTP status of a reply (RFC 9110 section 15).
func statusOf(r agent.Reply) int {
	switch r.Reason {
	case agent.ReasonTooLarge:
		return http.StatusRequestEntityTooLarge
	case agent.ReasonDenied:
		return http.StatusForbidden
	case agent.ReasonBusy:
		return http.StatusServiceUnavailable
	case alarm.UnknownAlarm.String():
		return http.StatusNotFound
	case agent.ReasonIDUsed, alarm.WrongState.String(), alarm.NotAcknowledged.String(), alarm.StillActive.String():
		return http.StatusConflict
	}
	if r.OK {
		return http.StatusOK
	}
	return http.StatusBadRequest
}
