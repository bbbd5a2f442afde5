package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// explain says in one line what went wrong on the way to the broker and what
// to do about it.
func (c Config) explain(err error) error {
	return fmt.Errorf("broker %s: %w", c.Broker, c.advise(err))
}

func (c Config) advise(err error) error {
	var (
		unknown  x509.UnknownAuthorityError
		name     x509.HostnameError
		invalid  x509.CertificateInvalidError
		notFound *net.DNSError
		noTLS    tls.RecordHeaderError
		remote   *net.OpError
	)
	switch {
	case errors.As(err, &unknown):
		if c.TLS.CA == "" {
			return errors.New("certificate signed by unknown authority; set mqtt.tls.ca to the CA's file")
		}
		return fmt.Errorf("certificate signed by unknown authority; %s (mqtt.tls.ca) is not the CA that signed it", c.TLS.CA)
	case errors.As(err, &name):
		return fmt.Errorf("%w; set mqtt.tls.server_name to a name in the certificate", name)
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired && invalid.Cert != nil:
		return outOfTime(invalid.Cert)
	case errors.As(err, &invalid):
		return fmt.Errorf("%w; check the broker's certificate and this machine's clock", invalid)
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return errors.New("user name or password refused; check mqtt.username and mqtt.password_file")
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Errorf("client id %q refused; set mqtt.client_id", c.ClientID)
	case errors.As(err, &remote) && remote.Op == "remote error": // so crypto/tls names the other side's alert
		return refusal(strings.TrimPrefix(remote.Err.Error(), "tls: "))
	case errors.As(err, &noTLS):
		return fmt.Errorf("no TLS there; check that %s", c.schemeHint())
	case errors.As(err, &notFound):
		return fmt.Errorf("host %s not found; check mqtt.broker and the name server", notFound.Name)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("nothing listens there; check mqtt.broker and that the broker runs")
	case errors.Is(err, io.EOF), errors.Is(err, syscall.ECONNRESET):
		return fmt.Errorf("the broker closed the connection at once; check that %s", c.schemeHint())
	}
	return err
}

// refusal explains the broker's alert (RFC 8446, section 6.2).
func refusal(alert string) error {
	switch {
	case alert == "certificate required":
		return errors.New("the broker asks for a certificate; set mqtt.tls.cert and mqtt.tls.key")
	case strings.Contains(alert, "certificate"):
		return fmt.Errorf("the broker refuses our certificate (%s); check that mqtt.tls.cert has not ended and is of the broker's authority", alert)
	}
	return fmt.Errorf("the broker refuses the encrypted connection (%s)", alert)
}

// outOfTime leaves the time of now out, or each try would be a new text for the log.
func outOfTime(broker *x509.Certificate) error {
	when := "ended on " + broker.NotAfter.UTC().Format(time.RFC3339)
	if time.Now().Before(broker.NotBefore) {
		when = "begins on " + broker.NotBefore.UTC().Format(time.RFC3339)
	}
	return fmt.Errorf("the broker's certificate %s; check it, and this machine's clock", when)
}

func (c Config) schemeHint() string {
	if c.encrypted() {
		return "the port of mqtt.broker speaks TLS (tcp:// is for a plain one) and that it needs no certificate of ours (mqtt.tls.cert)"
	}
	return "the port of mqtt.broker does not want TLS (ssl://)"
}
