package config

import (
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// defaultCommandWindow forgives clocks that are set by hand; a choice of ours.
const defaultCommandWindow = 5 * time.Minute

const (
	maxTopic    = 200
	maxClientID = 64
	maxUser     = 256
	maxLevel    = 64
	levelWant   = "one level of a topic: up to 64 characters without / + #"
	// defaultGroup is a choice of ours.
	defaultGroup = "weepd"
	brokerWant   = "tcp://HOST:PORT or ssl://HOST:PORT"
)

func (d *decoder) mqtt(e entry) *MQTT {
	m := &MQTT{CommandWindow: defaultCommandWindow, Payload: JSON}
	var tlsKeys placed
	payload := string(JSON)
	seen := d.mapping(e,
		field{"broker", func(sub entry) { d.broker(&m.Broker, sub) }},
		field{"root", d.text(&m.Root, maxTopic, "levels separated by /, without + # $ and without / at either end", validTopic)},
		field{"client_id", d.text(&m.ClientID, maxClientID, "an id of up to 64 printable characters", nil)},
		field{"username", d.text(&m.Username, maxUser, "a user name", nil)},
		field{"password_file", d.path(&m.PasswordFile)},
		field{"tls", func(sub entry) { tlsKeys = d.tls(&m.TLS, sub) }},
		field{"command_key_file", d.path(&m.CommandKeyFile)},
		field{"command_window", d.duration(&m.CommandWindow, time.Second, time.Hour, "5m")},
		field{"payload", d.choice(&payload, string(JSON), string(Sparkplug))},
		field{"group", d.text(&m.Group, maxLevel, levelWant, validLevel)},
		field{"host_id", d.text(&m.HostID, maxLevel, levelWant, validLevel)},
	)
	m.Payload = Payload(payload)
	d.sparkplug(m, seen)
	if at, given := seen["command_window"]; given && !has(seen, "command_key_file") {
		d.fault(at, "add `command_key_file:`, or remove the line", "mqtt.command_window without mqtt.command_key_file")
	}
	d.required(e, seen, "broker", "add `broker:` "+brokerWant)
	// MQTT 3.1.1, MQTT-3.1.2-22: no password without a user name.
	if at, given := seen["password_file"]; given && !has(seen, "username") {
		d.fault(at, "add `username:`; MQTT knows no password without one", "mqtt.password_file without mqtt.username")
	}
	if at, given := seen["tls"]; given && strings.HasPrefix(m.Broker, "tcp:") {
		d.fault(at, "write ssl:// in mqtt.broker, or remove mqtt.tls", "mqtt.tls with a tcp:// broker, which is not encrypted")
	}
	if has(tlsKeys, "cert") != has(tlsKeys, "key") {
		d.fault(seen["tls"], "give both or none", "mqtt.tls has only one of cert and key")
	}
	return m
}

// sparkplug refuses what the other payload has no place for.
func (d *decoder) sparkplug(m *MQTT, seen placed) {
	if m.Payload == Sparkplug {
		if m.Group == "" {
			m.Group = defaultGroup
		}
		if at, given := seen["root"]; given {
			d.fault(at, "remove the line; mqtt.group is the first level of its own that Sparkplug has", "mqtt.root with mqtt.payload sparkplug, whose topics are fixed")
		}
		return
	}
	for _, key := range []string{"group", "host_id"} {
		if at, given := seen[key]; given {
			d.fault(at, "add `payload: sparkplug`, or remove the line", "mqtt.%s without mqtt.payload sparkplug", key)
		}
	}
}

// validLevel keeps to one level of a topic (Sparkplug 3.0.0,
// tck-id-topic-structure-namespace-valid-group-id).
func validLevel(s string) bool { return !strings.ContainsAny(s, "+#/") }

func has(keys placed, key string) bool {
	_, found := keys[key]
	return found
}

func (d *decoder) tls(t *TLS, e entry) placed {
	return d.mapping(e,
		field{"ca", d.path(&t.CA)},
		field{"cert", d.path(&t.Cert)},
		field{"key", d.path(&t.Key)},
		field{"server_name", d.text(&t.ServerName, 253, "a host name", validHost)},
	)
}

// complete fills in what depends on the station.
func (m *MQTT) complete(station string) {
	if m.Root == "" {
		m.Root = "weepd/" + station
	}
	if m.ClientID == "" {
		m.ClientID = "weepd-" + station
	}
}

// validTopic keeps wildcards out (MQTT 3.1.1 section 4.7.1), and the topics
// that belong to the broker (4.7.2).
func validTopic(s string) bool {
	return !strings.ContainsAny(s, "+#") && !strings.HasPrefix(s, "$") &&
		!strings.HasPrefix(s, "/") && !strings.HasSuffix(s, "/") && !strings.Contains(s, "//")
}

// broker reads the address and completes it with the registered port.
func (d *decoder) broker(dst *string, e entry) {
	var s string
	d.text(&s, 300, brokerWant, nil)(e)
	if s == "" {
		return
	}
	// Checked first, so that no message ever repeats a password.
	if strings.Contains(s, "@") {
		d.fault(e.at, "use mqtt.username and mqtt.password_file", "mqtt.broker holds a user name")
		return
	}
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "tcp" && u.Scheme != "ssl" || !validHost(u.Hostname()) ||
		u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.Opaque != "" {
		d.fault(e.at, "want "+brokerWant, "mqtt.broker is %s", quoted(s))
		return
	}
	port := u.Port()
	if port == "" {
		// IANA's service registry: mqtt 1883, secure-mqtt 8883 (from memory).
		port = map[string]string{"tcp": "1883", "ssl": "8883"}[u.Scheme]
	}
	if !validPort(port, 1) {
		d.fault(e.at, "want a port from 1 to 65535", "mqtt.broker has port %s", excerpt(port))
		return
	}
	*dst = u.Scheme + "://" + net.JoinHostPort(u.Hostname(), port)
}

func validPort(s string, least int) bool {
	port, err := strconv.Atoi(s)
	return err == nil && port >= least && port <= 65535
}

func validHost(s string) bool {
	if _, err := netip.ParseAddr(s); err == nil {
		return true
	}
	return s != "" && len(s) <= 253 && onlyWith(s, ".-_")
}

// listen reads host:port; the host may be left out for all addresses.
func (d *decoder) listen(dst *string) func(entry) {
	return func(e entry) {
		const want = "HOST:PORT, e.g. " + DefaultListen
		d.text(dst, 300, want, func(s string) bool {
			host, port, err := net.SplitHostPort(s)
			return err == nil && (host == "" || validHost(host)) && validPort(port, 0)
		})(e)
	}
}
