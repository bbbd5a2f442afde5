package config

import (
	"net"
	"net/netip"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// HTTP is the page, metrics and API, and who gets at them.
type HTTP struct {
	Listen   string  // host:port
	TLS      HTTPTLS // empty: not encrypted
	Users    string  // file of users and tokens; empty: nobody may command
	Insecure bool    // others on the network may listen in, or read without logging in
	Read     string  // who may read without logging in: ReadUsers, ReadLocal or ReadAnyone
}

// HTTPTLS has the files of encrypted HTTP; both or none.
type HTTPTLS struct{ Cert, Key string }

// Who may read without logging in.
const (
	ReadUsers  = "users"   // nobody
	ReadLocal  = "machine" // whoever is on this machine
	ReadAnyone = "anyone"
)

// Loopback reports whether only this machine can reach the address.
func (h HTTP) Loopback() bool {
	host, _, err := net.SplitHostPort(h.Listen)
	if err != nil {
		return false
	}
	addr, err := netip.ParseAddr(host)
	return strings.EqualFold(host, "localhost") || err == nil && addr.Unmap().IsLoopback()
}

func (d *decoder) http(h *HTTP, e entry) {
	var tlsKeys placed
	faults := len(d.faults)
	seen := d.mapping(e,
		field{"listen", d.listen(&h.Listen)},
		field{"tls", func(sub entry) {
			tlsKeys = d.mapping(sub, field{"cert", d.path(&h.TLS.Cert)}, field{"key", d.path(&h.TLS.Key)})
			d.required(sub, tlsKeys, "cert", "give the file with the certificate (PEM)")
			d.required(sub, tlsKeys, "key", "give the file with the certificate's key (PEM)")
		}},
		field{"users", d.path(&h.Users)},
		field{"insecure", d.truth(&h.Insecure)},
		field{"read", d.choice(&h.Read, ReadUsers, ReadLocal, ReadAnyone)},
	)
	if len(d.faults) == faults { // else this would blame what was only misspelt
		d.exposed(*h, e, seen)
	}
}

// exposed refuses what lets the network in without anybody having said so.
func (d *decoder) exposed(h HTTP, e entry, seen placed) {
	if h.Read == ReadUsers && h.Users == "" {
		d.fault(seen["read"], "set http.users to a file made by `weepd user add`", "http.read is users, but there are none")
	}
	if h.Loopback() || h.Insecure {
		return
	}
	var missing []string
	if h.TLS == (HTTPTLS{}) {
		missing = append(missing, "http.tls (cert and key)")
	}
	if h.Users == "" {
		missing = append(missing, "http.users")
	}
	if len(missing) == 0 {
		return
	}
	at, given := seen["listen"]
	if !given {
		at = e.at
	}
	d.fault(at, "listen on "+DefaultListen+", or set "+strings.Join(missing, " and ")+
		", or `insecure: true` if others on the network may read and listen in",
		"http.listen %s is open to the network", quoted(h.Listen))
}

// complete fills in who may read.
func (h *HTTP) complete() {
	switch {
	case h.Read != "":
	case h.Loopback():
		h.Read = ReadLocal
	case h.Users == "":
		h.Read = ReadAnyone // told so by insecure
	default:
		h.Read = ReadUsers
	}
}

// truth reads true or false.
func (d *decoder) truth(dst *bool) func(entry) {
	return func(e entry) {
		node, ok := e.value.(*ast.BoolNode)
		if !ok {
			d.wrongType(e, "true or false")
			return
		}
		*dst = node.Value
	}
}
