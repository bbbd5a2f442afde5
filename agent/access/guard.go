package access

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// MaxBody bounds a request's body, in bytes.
const MaxBody = 64 << 10

// Reading says who may read without logging in.
type Reading uint8

// Who may read.
const (
	ReadUsers  Reading = iota // nobody without logging in
	ReadLocal                 // whoever is on this machine and asks for it by a loopback name
	ReadAnyone                // everybody
)

// Policy is who may do what.
type Policy struct {
	Users *Users // nil: nobody may command
	Read  Reading
	Plain bool // secrets may cross the network unencrypted
	Log   *slog.Logger
}

// Guard stands before the handlers.
type Guard struct {
	policy   Policy
	visitors *visitors
	logins   *logins
	origins  *http.CrossOriginProtection
}

// New makes a guard.
func New(p Policy) (*Guard, error) {
	visitors, err := newVisitors()
	if err != nil {
		return nil, err
	}
	logins, err := newLogins()
	if err != nil {
		return nil, err
	}
	return &Guard{policy: p, visitors: visitors, logins: logins, origins: http.NewCrossOriginProtection()}, nil
}

type identityKey struct{}

// User gives who is logged in; false for one who reads without.
func User(ctx context.Context) (Identity, bool) {
	who, found := ctx.Value(identityKey{}).(Identity)
	return who, found
}

// Protect lets through what the policy allows, with the User in the request's
// context. GET and HEAD read, everything else commands. /healthz is for all.
func (g *Guard) Protect(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, refused := g.admit(w, r)
		if refused != nil {
			refused.answer(w, r)
			return
		}
		if who.Name != "" {
			r = r.WithContext(context.WithValue(r.Context(), identityKey{}, who))
		}
		next.ServeHTTP(w, r)
	})
}

// refusal is an answer to one who was not let through.
type refusal struct {
	status int
	text   string
	wait   time.Duration
}

func (g *Guard) admit(w http.ResponseWriter, r *http.Request) (Identity, *refusal) {
	v := g.visitors.of(origin(r))
	if !v.requests.Allow() {
		return Identity{}, &refusal{http.StatusTooManyRequests, "too many requests from this address; wait and try again", time.Second}
	}
	if r.ContentLength > MaxBody {
		return Identity{}, &refusal{http.StatusRequestEntityTooLarge, "the request is larger than 64 kB", 0}
	}
	r.Body = http.MaxBytesReader(w, r.Body, MaxBody)
	if reads(r) && r.URL.Path == "/healthz" {
		return Identity{}, nil
	}
	if !reads(r) {
		if refused := g.fromOurPage(r); refused != nil {
			return Identity{}, refused
		}
	}
	who, err := g.identify(r, v)
	if err != nil {
		return Identity{}, g.refuse(r, v, err)
	}
	return who, g.allow(r, who)
}

func reads(r *http.Request) bool { return r.Method == http.MethodGet || r.Method == http.MethodHead }

// allow says why one who is known, or nobody, may not do what is asked.
func (g *Guard) allow(r *http.Request, who Identity) *refusal {
	known := who.Name != ""
	switch {
	case known && (reads(r) || !who.ReadOnly):
		return nil
	case known:
		return &refusal{http.StatusForbidden, who.Name + " may read but not command", 0}
	case reads(r) && g.openTo(r):
		return nil
	case g.policy.Users != nil:
		return &refusal{http.StatusUnauthorized, "log in with name and secret, or with a token", 0}
	case reads(r):
		return &refusal{http.StatusForbidden, "only this machine may read, by the name localhost or 127.0.0.1; set http.users to let others in", 0}
	default:
		return &refusal{http.StatusForbidden, "nobody may command: set http.users to a file and add somebody with `weepd user add`", 0}
	}
}

// fromOurPage keeps other sites from commanding through a browser that is
// logged in: no form can send JSON, browsers say where a request is from, and
// a form of which they do not say it is refused.
func (g *Guard) fromOurPage(r *http.Request) *refusal {
	if err := g.origins.Check(r); err != nil {
		return &refusal{http.StatusForbidden, "the request comes from another site's page", 0}
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch {
	case err == nil && kind == "application/json":
		return nil
	case err == nil && kind == "application/x-www-form-urlencoded" && saysItsOrigin(r):
		return nil
	}
	return &refusal{http.StatusUnsupportedMediaType, "want Content-Type: application/json", 0}
}

// saysItsOrigin reports whether the browser said where a form is from; that it
// is from our own page was checked before. One that does not say may be another
// site's.
func saysItsOrigin(r *http.Request) bool {
	return r.Header.Get("Sec-Fetch-Site") == "same-origin" || r.Header.Get("Origin") != ""
}

var errPlain = errors.New("a secret over an unencrypted connection; use https, and change it")

// identify gives who the request says it is from; nobody if it does not say.
func (g *Guard) identify(r *http.Request, v *visitor) (Identity, error) {
	given := r.Header.Values("Authorization")
	if len(given) == 0 {
		return Identity{}, nil
	}
	if !g.policy.Plain && !safeFromEars(r) {
		return Identity{}, errPlain
	}
	if len(given) > 1 || g.policy.Users == nil {
		return Identity{}, errDenied
	}
	book := g.policy.Users.book()
	if name, secret, ok := r.BasicAuth(); ok {
		who, err := g.logins.person(r.Context(), v, book, name, secret)
		if errors.Is(err, errDenied) {
			g.tell(r, "user", knownName(book, name))
		}
		return who, err
	}
	scheme, token, _ := strings.Cut(given[0], " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return Identity{}, errDenied
	}
	who, err := g.logins.program(v, book, strings.TrimSpace(token))
	if _, blocked := v.blocked(); err != nil && !blocked {
		g.tell(r, "user", "a token")
	}
	return who, err
}

func (g *Guard) tell(r *http.Request, args ...any) {
	g.policy.Log.Warn("http: log-in refused", append(args, "from", r.RemoteAddr)...)
}

// knownName keeps a secret that was typed as a name out of the log.
func knownName(b *Book, name string) string {
	if b.has(name) {
		return name
	}
	return "not in the users file"
}

// safeFromEars reports whether nobody on the network can listen.
func safeFromEars(r *http.Request) bool { return r.TLS != nil || onThisMachine(r) }

// onThisMachine reports whether both ends of the connection are.
func onThisMachine(r *http.Request) bool {
	local, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	return local != nil && loopback(local.String()) && loopback(r.RemoteAddr)
}

func loopback(address string) bool {
	from, err := netip.ParseAddrPort(address)
	return err == nil && from.Addr().Unmap().IsLoopback()
}

// openTo reports whether the request may read without logging in. The name it
// asks by counts: a foreign page whose name was made to lead to this machine,
// and a proxy that serves the world, ask by another.
func (g *Guard) openTo(r *http.Request) bool {
	switch g.policy.Read {
	case ReadAnyone:
		return true
	case ReadLocal:
		return onThisMachine(r) && loopbackName(r.Host)
	default:
		return false
	}
}

func loopbackName(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	addr, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return strings.EqualFold(host, "localhost") || err == nil && addr.Unmap().IsLoopback()
}

func (g *Guard) refuse(r *http.Request, v *visitor, err error) *refusal {
	switch {
	case errors.Is(err, errSlow):
		wait, _ := v.blocked()
		return &refusal{http.StatusTooManyRequests, err.Error(), wait}
	case errors.Is(err, errBusy):
		return &refusal{http.StatusServiceUnavailable, err.Error(), time.Second}
	case errors.Is(err, errPlain):
		g.tell(r, "because", "not encrypted")
		return &refusal{http.StatusForbidden, err.Error(), 0}
	default:
		return &refusal{http.StatusUnauthorized, err.Error(), 0}
	}
}

// answer is JSON below /api, as replies to commands are, else text.
func (f *refusal) answer(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	if f.status == http.StatusUnauthorized { // RFC 7617 section 2, RFC 6750 section 3
		h.Add("WWW-Authenticate", `Basic realm="weepd", charset="UTF-8"`)
		h.Add("WWW-Authenticate", `Bearer realm="weepd"`)
	}
	if f.wait > 0 {
		h.Set("Retry-After", strconv.Itoa(int(f.wait/time.Second)+1))
	}
	if !strings.HasPrefix(r.URL.Path, "/api/") {
		http.Error(w, f.text, f.status)
		return
	}
	h.Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(f.status)
	_ = json.NewEncoder(w).Encode(struct { // the client may be gone
		OK    bool   `json:"ok"`
		Error string `json:"error"`
	}{false, f.text})
}
