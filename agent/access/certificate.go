package access

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
)

// TLS serves with a certificate and its key, both in PEM form, that are read
// again when they change. A key that others can read is refused.
func TLS(cert, key string, log *slog.Logger) (*tls.Config, error) {
	pair := &reloaded[*tls.Certificate]{
		what: "certificate", paths: []string{cert, key}, log: log,
		load: func() (*tls.Certificate, error) { return LoadPair(cert, key) },
	}
	if err := pair.open(); err != nil {
		return nil, err
	}
	return &tls.Config{
		MinVersion:     tls.VersionTLS12, // RFC 8996 ends 1.0 and 1.1
		NextProtos:     []string{"h2", "http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return pair.get(), nil },
	}, nil
}

// LoadPair reads a certificate and its key.
func LoadPair(cert, key string) (*tls.Certificate, error) {
	public, err := os.ReadFile(cert)
	if err != nil {
		return nil, fmt.Errorf("certificate %s: %w; check the name and that weepd's user may read it", cert, cause(err))
	}
	secret, err := readPrivate(key, "key")
	if err != nil {
		return nil, err
	}
	pair, err := tls.X509KeyPair(public, secret)
	if err != nil {
		return nil, fmt.Errorf("certificate %s with key %s: %w", cert, key, err)
	}
	return &pair, nil
}
