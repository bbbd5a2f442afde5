package access

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// request is one that comes over the loopback.
func request(method, path string, body io.Reader) *http.Request {
	r := httptest.NewRequestWithContext(context.Background(), method, "http://localhost:9733"+path, body)
	r.RemoteAddr = "127.0.0.1:40000"
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	local := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 9733}
	return r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, local))
}

// far makes it one from the network.
func far(r *http.Request) *http.Request {
	r.RemoteAddr, r.Host = "192.0.2.1:40000", "gateway.quarry.example"
	local := &net.TCPAddr{IP: net.IPv4(192, 0, 2, 7), Port: 9733}
	return r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, local))
}

func encrypted(r *http.Request) *http.Request { r.TLS = &tls.ConnectionState{}; return r }

func basic(r *http.Request, name, secret string) *http.Request {
	r.SetBasicAuth(name, secret)
	return r
}

func with(r *http.Request, header, value string) *http.Request { r.Header.Set(header, value); return r }

// guarded answers with the user's name and the size of the body.
func guarded(t *testing.T, p Policy) func(*http.Request) *httptest.ResponseRecorder {
	t.Helper()
	p.Log = quiet
	g, err := New(p)
	if err != nil {
		t.Fatal(err)
	}
	h := g.Protect(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, in := User(r.Context())
		if in != (who.Name != "") {
			t.Errorf("in %v, name %q", in, who.Name)
		}
		body, err := io.ReadAll(r.Body)
		if err != nil {
			http.Error(w, err.Error(), http.StatusRequestEntityTooLarge)
			return
		}
		_, _ = io.WriteString(w, who.Name+" "+string(body[:min(len(body), 9)]))
	}))
	return func(r *http.Request) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
}

func users(t *testing.T) (u *Users, command, read string) {
	t.Helper()
	path, command, read := usersFile(t)
	u, err := OpenUsers(path, quiet)
	if err != nil {
		t.Fatal(err)
	}
	return u, command, read
}

func post() *http.Request { return request("POST", "/api/v1/command", strings.NewReader(`{"x":1}`)) }
func get() *http.Request  { return request("GET", "/api/v1/alarms", nil) }

func TestWhoMayDoWhat(t *testing.T) {
	u, command, readToken := users(t)
	bearer := func(r *http.Request, token string) *http.Request { return with(r, "Authorization", "Bearer "+token) }
	local := Policy{Users: u, Read: ReadLocal}
	network := Policy{Users: u, Read: ReadUsers}
	for _, c := range []struct {
		name   string
		policy Policy
		r      *http.Request
		status int
		says   string
	}{
		{"local reading", local, get(), 200, ""},
		{"local reading without users", Policy{Read: ReadLocal}, get(), 200, ""},
		{"local command without users", Policy{Read: ReadLocal}, post(), 403, "add somebody with `weepd user add`"},
		{"local command, not logged in", local, post(), 401, "log in"},
		{"local command by a person", local, basic(post(), "operator", operatorSecret), 200, `operator {"x":1}`},
		{"local command by a program", local, bearer(post(), command), 200, "control-room "},
		{"command by a reader", local, basic(post(), "visitor", visitorSecret), 403, "visitor may read but not command"},
		{"command by a reading program", local, bearer(post(), readToken), 403, "metrics may read"},
		{"reading by a reader", network, encrypted(far(basic(get(), "visitor", visitorSecret))), 200, "visitor "},
		{"reading by a reading program", network, encrypted(far(bearer(get(), readToken))), 200, "metrics "},
		{"wrong secret", local, basic(post(), "operator", "guess"), 401, "wrong"},
		{"wrong secret where reading is open", local, basic(get(), "operator", "guess"), 401, "wrong"},
		{"no such person", local, basic(post(), "nobody", operatorSecret), 401, "wrong"},
		{"a token's name as a person", local, basic(post(), "control-room", command), 401, "wrong"},
		{"wrong token", local, bearer(post(), command+"x"), 401, "wrong"},
		{"empty token", local, bearer(post(), ""), 401, "wrong"},
		{"the hash as a token", local, bearer(post(), someSum), 401, "wrong"},
		{"another scheme", local, with(post(), "Authorization", "Digest x"), 401, "wrong"},
		{"a login where there are no users", Policy{Read: ReadLocal}, basic(get(), "operator", operatorSecret), 401, "wrong"},
		{"from the network", network, encrypted(far(get())), 401, "log in"},
		{"from the network, open", Policy{Users: u, Read: ReadAnyone}, far(get()), 200, ""},
		{"from the network where this machine may read", local, encrypted(far(get())), 401, "log in"},
		{"the same without users", Policy{Read: ReadLocal}, far(get()), 403, "only this machine may read"},
		{"secret in the clear", network, far(basic(get(), "operator", operatorSecret)), 403, "unencrypted"},
		{"token in the clear", network, far(bearer(get(), command)), 403, "unencrypted"},
		{"secret in the clear, told so", Policy{Users: u, Plain: true}, far(basic(post(), "operator", operatorSecret)), 200, "operator "},
		{"a foreign name that leads here", local, func() *http.Request { r := get(); r.Host = "evil.example:9733"; return r }(), 401, ""},
		{"IPv6 loopback by number", local, func() *http.Request {
			r := get()
			r.Host, r.RemoteAddr = "[::1]:9733", "[::1]:40000"
			return r
		}(), 200, ""},
		{"from far to a loopback name", local, func() *http.Request { r := far(get()); r.Host = "localhost"; return r }(), 401, ""},
		{"health from the network", network, far(request("GET", "/healthz", nil)), 200, ""},
		{"health is no way to command", network, far(with(request("POST", "/healthz", nil), "X", "")), 401, ""},
		{"other methods command", local, with(request("DELETE", "/x", nil), "Content-Type", "application/json"), 401, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := guarded(t, c.policy)(c.r)
			if got.Code != c.status || !strings.Contains(got.Body.String(), c.says) {
				t.Errorf("%d %s, want %d %s", got.Code, got.Body, c.status, c.says)
			}
			if challenges := len(got.Header().Values("WWW-Authenticate")); (c.status == 401) != (challenges == 2) {
				t.Errorf("status %d with %d challenges", got.Code, challenges)
			}
		})
	}
}

func TestTwoAuthorizations(t *testing.T) {
	u, command, _ := users(t)
	r := with(post(), "Authorization", "Bearer "+command)
	r.Header.Add("Authorization", "Bearer other")
	if got := guarded(t, Policy{Users: u})(r); got.Code != 401 {
		t.Errorf("%d", got.Code)
	}
}

func TestOtherSitesCannotCommand(t *testing.T) {
	u, command, _ := users(t)
	serve := guarded(t, Policy{Users: u, Read: ReadLocal})
	for _, c := range []struct {
		name, header, value string
		status              int
	}{
		{"same origin", "Sec-Fetch-Site", "same-origin", 200},
		{"no browser", "X-Nothing", "", 200},
		{"same origin by Origin", "Origin", "http://localhost:9733", 200},
		{"cross-site", "Sec-Fetch-Site", "cross-site", 403},
		{"same-site", "Sec-Fetch-Site", "same-site", 403},
		{"another origin", "Origin", "http://evil.example", 403},
		{"another port", "Origin", "http://localhost:80", 403},
		{"no origin at all", "Origin", "null", 403},
		{"a form", "Content-Type", "application/x-www-form-urlencoded", 415},
		{"a form of another site", "Content-Type", "application/x-www-form-urlencoded; x=1", 415},
		{"text", "Content-Type", "text/plain; a=application/json", 415},
		{"no type", "Content-Type", "", 415},
		{"JSON with a charset", "Content-Type", "application/json; charset=utf-8", 200},
	} {
		got := serve(with(with(post(), "Authorization", "Bearer "+command), c.header, c.value))
		if got.Code != c.status {
			t.Errorf("%s: %d %s, want %d", c.name, got.Code, got.Body, c.status)
		}
		if got.Code == 200 {
			continue
		}
		var answer struct {
			OK    bool
			Error string
		}
		if err := json.Unmarshal(got.Body.Bytes(), &answer); err != nil || answer.OK || answer.Error == "" {
			t.Errorf("%s: %v: %s", c.name, err, got.Body)
		}
	}
}

func TestSizeOfARequest(t *testing.T) {
	u, command, _ := users(t)
	serve := guarded(t, Policy{Users: u})
	for size, want := range map[int]int{MaxBody: 200, MaxBody + 1: 413} {
		for _, said := range []bool{true, false} {
			r := with(request("POST", "/api/v1/command", strings.NewReader(strings.Repeat("x", size))), "Authorization", "Bearer "+command)
			if !said {
				r.ContentLength = -1
			}
			if got := serve(r); got.Code != want {
				t.Errorf("%d bytes, said %v: %d, want %d", size, said, got.Code, want)
			}
		}
	}
}

func TestFormsMustSayThatTheyAreOurs(t *testing.T) {
	u, command, _ := users(t)
	serve := guarded(t, Policy{Users: u})
	for _, c := range []struct {
		header, value string
		status        int
	}{
		{"Sec-Fetch-Site", "same-origin", 200},
		{"Origin", "http://localhost:9733", 200},
		{"Sec-Fetch-Site", "none", 415},
		{"Sec-Fetch-Site", "cross-site", 403},
		{"Origin", "null", 403},
		{"Origin", "http://evil.example", 403},
	} {
		r := request("POST", "/act", strings.NewReader("action=acknowledge"))
		r.Host = "localhost:9733"
		r = with(with(r, "Authorization", "Bearer "+command), "Content-Type", "application/x-www-form-urlencoded")
		if got := serve(with(r, c.header, c.value)); got.Code != c.status {
			t.Errorf("%s %s: %d %s, want %d", c.header, c.value, got.Code, got.Body, c.status)
		}
	}
}

func TestOnePersonWithoutAFile(t *testing.T) {
	u, err := One("demo", "look at a gland")
	if err != nil {
		t.Fatal(err)
	}
	serve := guarded(t, Policy{Users: u, Read: ReadAnyone})
	for secret, want := range map[string]int{"look at a gland": 200, "look at a glandx": 401} {
		r := post()
		r.SetBasicAuth("demo", secret)
		if got := serve(r); got.Code != want {
			t.Errorf("%q: %d, want %d", secret, got.Code, want)
		}
	}
	if _, err := One("demo", "short"); err == nil {
		t.Error("a short secret is taken")
	}
}
