package main

import (
	"weepd/agent/config"
	"weepd/agent/expiry"
)

// certificatesOf names the certificates that a configuration uses.
func certificatesOf(cfg *config.Config) []expiry.File {
	files := []expiry.File{{Name: "http.tls.cert", Path: cfg.HTTP.TLS.Cert}}
	if m := cfg.MQTT; m != nil {
		files = append(files, expiry.File{Name: "mqtt.tls.ca", Path: m.TLS.CA}, expiry.File{Name: "mqtt.tls.cert", Path: m.TLS.Cert})
	}
	if r := cfg.RemoteWrite; r != nil {
		files = append(files, expiry.File{Name: "remote_write.tls.ca", Path: r.TLS.CA}, expiry.File{Name: "remote_write.tls.cert", Path: r.TLS.Cert})
	}
	return files
}
