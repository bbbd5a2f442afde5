package config

import (
	"net/url"
	"strings"
	"time"
)

// RemoteWrite is a receiver of Prometheus remote write, for a station that
// cannot be scraped.
type RemoteWrite struct {
	URL          string
	Every        time.Duration // between two samples of a series
	MaxAge       time.Duration // older samples are not sent: the receiver does not take them
	MaxBytes     int64         // of what waits on the disk
	Username     string        // empty: none
	PasswordFile string        // empty: none
	TLS          TLS           // used with https:// only
}

// Defaults; choices of ours. A day is what deploy/prometheus takes.
const (
	defaultWriteEvery = time.Minute
	defaultWriteAge   = 24 * time.Hour
	defaultWriteBytes = 32 << 20
	writeWant         = "https://HOST[:PORT]/PATH or http://HOST[:PORT]/PATH"
)

func (d *decoder) remoteWrite(e entry) *RemoteWrite {
	r := &RemoteWrite{Every: defaultWriteEvery, MaxAge: defaultWriteAge, MaxBytes: defaultWriteBytes}
	var tlsKeys placed
	seen := d.mapping(e,
		field{"url", func(sub entry) { d.receiver(&r.URL, sub) }},
		field{"every", d.duration(&r.Every, 5*time.Second, 5*time.Minute, "1m")}, // Prometheus forgets a series after 5 minutes
		field{"max_age", d.duration(&r.MaxAge, 10*time.Minute, 31*24*time.Hour, "24h")},
		field{"max_bytes", d.size(&r.MaxBytes)},
		field{"username", d.text(&r.Username, maxUser, "a user name", nil)},
		field{"password_file", d.path(&r.PasswordFile)},
		field{"tls", func(sub entry) { tlsKeys = d.tls(&r.TLS, sub) }},
	)
	d.required(e, seen, "url", "add `url:` "+writeWant)
	if has(seen, "username") != has(seen, "password_file") {
		d.fault(e.at, "give both or none", "remote_write has only one of username and password_file")
	}
	if at, given := seen["tls"]; given && strings.HasPrefix(r.URL, "http:") {
		d.fault(at, "write https:// in remote_write.url, or remove remote_write.tls", "remote_write.tls with an http:// url, which is not encrypted")
	}
	if has(tlsKeys, "cert") != has(tlsKeys, "key") {
		d.fault(seen["tls"], "give both or none", "remote_write.tls has only one of cert and key")
	}
	return r
}

func (d *decoder) receiver(dst *string, e entry) {
	var s string
	d.text(&s, 500, writeWant, nil)(e)
	if s == "" {
		return
	}
	// Checked first, so that no message ever repeats a password.
	if strings.Contains(s, "@") {
		d.fault(e.at, "use remote_write.username and remote_write.password_file", "remote_write.url holds a user name")
		return
	}
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || !validHost(u.Hostname()) || u.Fragment != "" ||
		u.Opaque != "" || u.Port() != "" && !validPort(u.Port(), 1) {
		d.fault(e.at, "want "+writeWant, "remote_write.url is %s", quoted(s))
		return
	}
	*dst = s
}
