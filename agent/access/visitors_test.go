package access

import (
	"fmt"
	"net/http"
	"net/netip"
	"testing"
	"testing/synctest"
	"time"
)

func TestTooManyRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		serve := guarded(t, Policy{Read: ReadLocal})
		for range requestsBurst {
			if got := serve(get()); got.Code != 200 {
				t.Fatalf("%d", got.Code)
			}
		}
		got := serve(get())
		if got.Code != http.StatusTooManyRequests || got.Header().Get("Retry-After") == "" {
			t.Errorf("%d, Retry-After %q", got.Code, got.Header().Get("Retry-After"))
		}
		other := get()
		other.RemoteAddr = "[::1]:1"
		if got := serve(other); got.Code != 200 {
			t.Errorf("another address: %d", got.Code)
		}
		time.Sleep(time.Second)
		if got := serve(get()); got.Code != 200 {
			t.Errorf("a second later: %d", got.Code)
		}
	})
}

func TestBlockedGuesserIsToldWhen(t *testing.T) {
	u, _, _ := users(t)
	g, err := New(Policy{Users: u, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	g.logins.compare = (&counted{right: "-"}).compare
	h := g.Protect(http.NotFoundHandler())
	got := make(map[int]int)
	for range failureBurst + 3 {
		w := newRecorder()
		h.ServeHTTP(w, basic(post(), "operator", "guess"))
		got[w.Code]++
		if w.Code == 429 && w.Header().Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	}
	if got[401] < failureBurst || got[429] == 0 {
		t.Errorf("answers %v", got)
	}
}

func TestVisitorsAreBounded(t *testing.T) {
	v, err := newVisitors()
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 * maxVisitors {
		v.of(netip.MustParsePrefix(fmt.Sprintf("10.%d.%d.1/32", i/256, i%256)))
	}
	if n := v.seen.Len(); n != maxVisitors {
		t.Errorf("%d visitors are kept, want %d", n, maxVisitors)
	}
}

func TestOrigin(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.1:5": "192.0.2.1/32", "[2001:db8:1:2:3:4:5:6]:5": "2001:db8:1:2::/64",
		"[::ffff:192.0.2.1]:5": "192.0.2.1/32", "[fe80::1%eth0]:5": "fe80::/64", "@": "invalid Prefix",
	} {
		r := get()
		r.RemoteAddr = remote
		if got := origin(r).String(); got != want {
			t.Errorf("%s: %s, want %s", remote, got, want)
		}
	}
}
