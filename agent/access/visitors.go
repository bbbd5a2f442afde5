package access

import (
	"net/http"
	"net/netip"
	"sync"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/time/rate"
)

// What one remote address may do. A choice of ours: a page with its stream, an
// operator's hands and a scraper stay far below.
const (
	maxVisitors    = 4096 // addresses that are remembered
	requestsSecond = 50
	requestsBurst  = 200
	failureEvery   = 5 * time.Second
	failureBurst   = 10
)

// visitor is one remote address.
type visitor struct {
	requests *rate.Limiter
	failures *rate.Limiter // log-ins that failed
}

// blocked says that too many log-ins have failed, and for how long.
func (v *visitor) blocked() (time.Duration, bool) {
	missing := 1 - v.failures.Tokens()
	if missing <= 0 {
		return 0, false
	}
	return time.Duration(missing * float64(failureEvery)), true
}

// visitors forgets who was not seen longest.
type visitors struct {
	mu   sync.Mutex
	seen *lru.Cache[netip.Prefix, *visitor]
}

func newVisitors() (*visitors, error) {
	seen, err := lru.New[netip.Prefix, *visitor](maxVisitors)
	return &visitors{seen: seen}, err
}

func (v *visitors) of(place netip.Prefix) *visitor {
	v.mu.Lock()
	defer v.mu.Unlock()
	if known, found := v.seen.Get(place); found {
		return known
	}
	fresh := &visitor{
		requests: rate.NewLimiter(requestsSecond, requestsBurst),
		failures: rate.NewLimiter(rate.Every(failureEvery), failureBurst),
	}
	v.seen.Add(place, fresh)
	return fresh
}

// origin gives the remote address; of IPv6 the network of 64 bits, as that is
// what one host has at hand (RFC 4291 section 2.5.1). An address that cannot
// be read is the zero prefix, which all such share.
func origin(r *http.Request) netip.Prefix {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Prefix{}
	}
	addr := from.Addr().Unmap().WithZone("")
	bits := addr.BitLen()
	if addr.Is6() {
		bits = 64
	}
	network, _ := addr.Prefix(bits) // bits fit the address
	return network
}
