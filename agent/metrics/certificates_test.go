package metrics

import (
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
)

func TestCertificates(t *testing.T) {
	ends := map[string]time.Time{"mqtt.tls.cert": time.Unix(1800000000, 0), "mqtt.broker": time.Unix(1900000000, 0)}
	n := make(named)
	c := strictly{n, newCertificates(n, func() map[string]time.Time { return ends })}
	const want = `
# HELP weepd_certificate_expiry_timestamp_seconds When the first certificate of a file, or of the broker's, ends: seconds since 1970.
# TYPE weepd_certificate_expiry_timestamp_seconds gauge
weepd_certificate_expiry_timestamp_seconds{certificate="mqtt.broker"} 1.9e+09
weepd_certificate_expiry_timestamp_seconds{certificate="mqtt.tls.cert"} 1.8e+09
`
	if err := testutil.CollectAndCompare(c, strings.NewReader(want)); err != nil {
		t.Error(err)
	}
	if n := testutil.CollectAndCount(strictly{n, newCertificates(n, nil)}); n != 0 {
		t.Errorf("%d series where nothing is encrypted", n)
	}
}
