package config

import (
	"fmt"
	"net"
	"net/url"
	"path"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

const (
	urlWant       = "tcp://HOST:502, or rtu:///dev/ttyUSB0"
	modbusPort    = "502" // IANA's service registry (from memory)
	longestDrip   = 3 * time.Second
	noModbusGap   = -1
	mostModbusGap = 125
)

func (c ModbusConnection) serial() bool { return strings.HasPrefix(c.URL, "rtu:") }

// modbus reads the connections that points refer to.
func (d *decoder) modbus(e entry) []ModbusConnection {
	var connections []ModbusConnection
	d.connections = map[string]place{}
	ids, urls := map[string]int{}, map[string]int{}
	once := func(used map[string]int, value, what, do string, at place) {
		if value == "" {
			return
		}
		if line, twice := used[value]; twice {
			d.fault(at, do, "%s %s is used twice (first in line %d)", what, quoted(value), line)
			return
		}
		used[value] = at.line
	}
	d.list(e, func(i int, item entry) {
		item.path = "modbus"
		d.scope = fmt.Sprintf("modbus[%d].", i)
		c, seen := d.modbusConnection(item)
		d.scope = ""
		once(ids, c.ID, "modbus id", "give each connection an id of its own", seen["id"])
		once(urls, strings.ToLower(c.URL), "modbus url", "give all its points one connection", seen["url"])
		connections = append(connections, c)
		d.connections[c.ID] = seen["id"]
	})
	if seq, ok := e.value.(*ast.SequenceNode); ok && len(seq.Values) == 0 {
		d.fault(e.at, "add a connection, or remove the line", "modbus is empty")
	}
	return connections
}

func (d *decoder) modbusConnection(e entry) (ModbusConnection, placed) {
	var c ModbusConnection
	gap := 0
	seen := d.mapping(e,
		field{"id", d.text(&c.ID, reading.MaxGlandID, idWant, reading.ValidGlandID)},
		field{"url", func(sub entry) { d.modbusURL(&c.URL, sub) }},
		field{"every", d.duration(&c.Every, shortestEvery, 30*time.Second, "1s")},
		field{"timeout", d.duration(&c.Timeout, shortestTimeout, 3*time.Second, "1s")},
		field{"max_gap", d.whole(&gap, 0, mostModbusGap, "registers read along to save a request, from 0 to 125")},
		field{"baud", d.whole(&c.Baud, 300, 921_600, "bit/s from 300 to 921600")},
		field{"parity", d.choice(&c.Parity, "even", "odd", "none")},
		field{"stop_bits", d.oneOf(&c.StopBits, 1, 2)},
	)
	d.required(e, seen, "id", "add `id: NAME` of "+idWant)
	d.required(e, seen, "url", "add `url:` "+urlWant)
	if c.MaxGap = gap; gap == 0 && has(seen, "max_gap") {
		c.MaxGap = noModbusGap
	}
	for _, key := range []string{"baud", "parity", "stop_bits"} {
		if at, given := seen[key]; given && c.URL != "" && !c.serial() {
			d.fault(at, "remove it", "modbus.%s is of serial lines, not of tcp://", key)
		}
	}
	return c, seen
}

// modbusURL reads the address and completes it with the registered port.
func (d *decoder) modbusURL(dst *string, e entry) {
	var s string
	d.text(&s, 300, urlWant, nil)(e)
	if s == "" {
		return
	}
	if device, serial := strings.CutPrefix(s, "rtu://"); serial {
		if !path.IsAbs(device) || strings.HasSuffix(device, "/") {
			d.fault(e.at, "want the whole path, rtu:///dev/ttyUSB0", "%s is %s", e.path, quoted(s))
			return
		}
		*dst = "rtu://" + path.Clean(device)
		return
	}
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "tcp" || !validHost(u.Hostname()) || u.User != nil ||
		u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.Opaque != "" {
		d.fault(e.at, "want "+urlWant, "%s is %s", e.path, quoted(s))
		return
	}
	port := u.Port()
	if port == "" {
		port = modbusPort
	}
	if !validPort(port, 1) {
		d.fault(e.at, "want a port from 1 to 65535", "%s has port %s", e.path, excerpt(port))
		return
	}
	*dst = "tcp://" + net.JoinHostPort(u.Hostname(), port)
}
