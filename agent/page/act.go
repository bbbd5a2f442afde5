package page

import (
	"cmp"
	"net/http"
	"net/url"
	"strings"

	"weepd/agent"
)

// act takes the page's forms: with the script as a request of its own, without
// it as a page that leads back.
func (s *Server) act(w http.ResponseWriter, r *http.Request) {
	reply := s.carryOut(r)
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		w.Header().Set("X-Weepd-User", url.QueryEscape(s.user(r.Context())))
		s.reply(w, reply)
		return
	}
	back := ownPath(r.PostFormValue("back"))
	if !reply.OK {
		sh := s.frame(r, s.stationNow())
		sh.Here, sh.Done = back, reply.Error
		s.write(w, statusOf(reply), "refused", sh)
		return
	}
	to, err := url.Parse(back)
	if err != nil {
		to = &url.URL{Path: "/"}
	}
	values := to.Query()
	values.Set("done", r.PostFormValue("action"))
	to.RawQuery = values.Encode()
	http.Redirect(w, r, to.String(), http.StatusSeeOther)
}

// carryOut makes a command of a form.
func (s *Server) carryOut(r *http.Request) agent.Reply {
	if err := r.ParseForm(); err != nil {
		return agent.Refuse(agent.ReasonMalformed, "the form could not be read; send it again")
	}
	form := r.PostForm
	c := agent.Command{
		ID: form.Get("id"), Action: form.Get("action"), Gland: form.Get("gland"), Condition: form.Get("condition"),
		For: form.Get("for"), Note: strings.TrimSpace(form.Get("note")), By: s.user(r.Context()),
	}
	if !agent.ValidCommandID(c.ID) {
		return agent.Refuse(agent.ReasonMalformed, "the form has no id; load the page again")
	}
	if c.By == "" {
		return agent.Refuse(agent.ReasonDenied, "%s", s.texts.say("act.nobody"))
	}
	if c.Action == agent.ActionRecord {
		var refused *agent.Reply
		if c.Kind, c.Value, refused = s.recorded(form); refused != nil {
			return *refused
		}
	}
	if text := c.TooLong(); text != "" {
		return agent.Refuse(agent.ReasonMalformed, "%s", text)
	}
	return s.parts.Do(r.Context(), c)
}

// ownPath gives a path of this page, for coming back; nothing leads elsewhere.
func ownPath(path string) string {
	if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n") {
		return "/"
	}
	return path
}

// doneWords say what was done; any other text is none of ours.
func (s *Server) doneWords(action string) string {
	if text, found := s.texts["done."+action]; found {
		return text
	}
	return ""
}

// login asks who is there, as RFC 7617 has it, and leads back. With the name of
// who is logged in as `not` it asks for another.
func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	values := r.URL.Query()
	name := s.user(r.Context())
	if name == "" || name == values.Get("not") {
		w.Header().Set("WWW-Authenticate", `Basic realm="weepd", charset="UTF-8"`)
		sh := s.frame(r, s.stationNow())
		sh.User, sh.Here = "", cmp.Or(ownPath(values.Get("to")), "/")
		s.write(w, http.StatusUnauthorized, "loggedout", sh)
		return
	}
	http.Redirect(w, r, ownPath(values.Get("to")), http.StatusSeeOther)
}
