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
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

func TestErrorsSayWhatToDo(t *testing.T) {
	past, future := time.Date(2001, 2, 3, 4, 5, 6, 0, time.UTC), time.Date(2999, 2, 3, 4, 5, 6, 0, time.UTC)
	alert := func(text string) error { return &net.OpError{Op: "remote error", Err: errors.New(text)} }
	plain := Config{Broker: "tcp://broker:1883", ClientID: "weepd-quarry"}
	secure := Config{Broker: "ssl://broker:8883"}
	withCA := Config{Broker: "ssl://broker:8883", TLS: TLS{CA: "/etc/weepd/ca.pem"}}
	for _, c := range []struct {
		cfg  Config
		err  error
		want string
	}{
		{secure, x509.UnknownAuthorityError{}, "broker ssl://broker:8883: certificate signed by unknown authority; set mqtt.tls.ca to the CA's file"},
		{withCA, x509.UnknownAuthorityError{}, "/etc/weepd/ca.pem (mqtt.tls.ca) is not the CA that signed it"},
		{withCA, x509.HostnameError{Certificate: &x509.Certificate{}, Host: "broker"}, "set mqtt.tls.server_name to a name in the certificate"},
		{withCA, x509.CertificateInvalidError{Reason: x509.Expired}, "check the broker's certificate and this machine's clock"},
		{withCA, x509.CertificateInvalidError{Reason: x509.Expired, Cert: &x509.Certificate{NotAfter: past}}, "the broker's certificate ended on 2001-02-03T04:05:06Z; check it, and this machine's clock"},
		{withCA, x509.CertificateInvalidError{Reason: x509.Expired, Cert: &x509.Certificate{NotBefore: future}}, "the broker's certificate begins on 2999-02-03T04:05:06Z; check it"},
		{withCA, alert("tls: expired certificate"), "the broker refuses our certificate (expired certificate); check that mqtt.tls.cert has not ended"},
		{withCA, alert("tls: certificate required"), "the broker asks for a certificate; set mqtt.tls.cert and mqtt.tls.key"},
		{withCA, alert("tls: handshake failure"), "the broker refuses the encrypted connection (handshake failure)"},
		{withCA, tls.RecordHeaderError{Msg: "first record does not look like a TLS handshake"}, "speaks TLS (tcp:// is for a plain one)"},
		{plain, packets.ErrorRefusedBadUsernameOrPassword, "check mqtt.username and mqtt.password_file"},
		{plain, packets.ErrorRefusedNotAuthorised, "check mqtt.username and mqtt.password_file"},
		{plain, packets.ErrorRefusedIDRejected, `client id "weepd-quarry" refused; set mqtt.client_id`},
		{plain, &net.DNSError{Name: "broker", IsNotFound: true}, "host broker not found; check mqtt.broker and the name server"},
		{plain, syscall.ECONNREFUSED, "nothing listens there; check mqtt.broker and that the broker runs"},
		{plain, io.EOF, "does not want TLS (ssl://)"},
		{secure, syscall.ECONNRESET, "needs no certificate of ours (mqtt.tls.cert)"},
	} {
		// As the library wraps them.
		got := c.cfg.explain(fmt.Errorf("%w : %w", packets.ErrorNetworkError, c.err)).Error()
		if !strings.HasPrefix(got, "broker "+c.cfg.Broker+": ") || !strings.Contains(got, c.want) {
			t.Errorf("%v:\n got %s\nwant %s", c.err, got, c.want)
		}
	}
}
