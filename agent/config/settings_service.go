package config

import (
	"cmp"
	"fmt"
	"strconv"
)

// serviceSettings lists what is in force for what the agent offers and uses.
func (c *Config) serviceSettings() []Setting {
	var list []Setting
	add := func(key, value, origin string) {
		from := "default: " + origin
		if line, given := c.lines[key]; given {
			from = fmt.Sprintf("line %d", line)
		}
		list = append(list, Setting{key, value, from})
	}
	h := c.HTTP
	add("http.listen", h.Listen, "this machine only, a choice of ours")
	add("http.read", h.Read, "this machine, or users where it is open to the network, a choice of ours")
	add("http.insecure", strconv.FormatBool(h.Insecure), "encrypted, or this machine only")
	add("http.users", cmp.Or(h.Users, "none"), "nobody may command over HTTP")
	add("log.level", c.Log.Level.String(), "a choice of ours")
	add("log.format", c.Log.Format, "a choice of ours")
	add("store.path", cmp.Or(c.Store.Path, "STATE_DIRECTORY, or weepd-data"), "the folder that systemd makes, or one beside this file")
	add("store.max_bytes", sizeText(c.Store.MaxBytes), "a choice of ours")
	if m := c.MQTT; m != nil {
		add("mqtt.broker", m.Broker, "")
		add("mqtt.payload", string(m.Payload), "a choice of ours")
		if m.Payload == Sparkplug {
			add("mqtt.group", m.Group, "a choice of ours")
			add("mqtt.host_id", cmp.Or(m.HostID, "none"), "events wait for no host")
		} else {
			add("mqtt.root", m.Root, "weepd/ and the station")
		}
		add("mqtt.client_id", m.ClientID, "weepd- and the station")
		add("mqtt.username", cmp.Or(m.Username, "none"), "the broker asks for none")
		add("mqtt.password_file", cmp.Or(m.PasswordFile, "none"), "the broker asks for none")
		add("mqtt.tls.ca", cmp.Or(m.TLS.CA, "the system's"), "certificates that the system trusts")
		add("mqtt.tls.cert", cmp.Or(m.TLS.Cert, "none"), "the broker asks for none")
		add("mqtt.tls.server_name", cmp.Or(m.TLS.ServerName, "the broker's host"), "the name in mqtt.broker")
		add("mqtt.command_key_file", cmp.Or(m.CommandKeyFile, "none"), "the broker's access list says who may command")
		if m.CommandKeyFile != "" {
			add("mqtt.command_window", short(m.CommandWindow), "forgives clocks that are set by hand, a choice of ours")
		}
	}
	if r := c.RemoteWrite; r != nil {
		add("remote_write.url", r.URL, "")
		add("remote_write.every", short(r.Every), "a choice of ours")
		add("remote_write.max_age", short(r.MaxAge), "as deploy/prometheus has out_of_order_time_window")
		add("remote_write.max_bytes", sizeText(r.MaxBytes), "a choice of ours")
		add("remote_write.username", cmp.Or(r.Username, "none"), "the receiver asks for none")
		add("remote_write.password_file", cmp.Or(r.PasswordFile, "none"), "the receiver asks for none")
		add("remote_write.tls.ca", cmp.Or(r.TLS.CA, "the system's"), "certificates that the system trusts")
		add("remote_write.tls.cert", cmp.Or(r.TLS.Cert, "none"), "the receiver asks for none")
		add("remote_write.tls.server_name", cmp.Or(r.TLS.ServerName, "the receiver's host"), "the name in remote_write.url")
	}
	for i, connection := range c.Modbus {
		list = append(list, connection.settings(func(key string) (int, bool) {
			line, given := c.lines[fmt.Sprintf("modbus[%d].%s", i, key)]
			return line, given
		})...)
	}
	return list
}

func sizeText(bytes int64) string {
	for _, unit := range []struct {
		bytes int64
		name  string
	}{{1 << 40, "TiB"}, {1 << 30, "GiB"}, {1 << 20, "MiB"}} {
		if bytes%unit.bytes == 0 {
			return fmt.Sprintf("%d %s", bytes/unit.bytes, unit.name)
		}
	}
	return fmt.Sprintf("%d bytes", bytes)
}
