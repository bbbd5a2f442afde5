package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// certificates tells when certificates end; what is not known has no series.
type certificates struct {
	ends func() map[string]time.Time // by the key of the configuration
	desc *prometheus.Desc
}

func newCertificates(n named, ends func() map[string]time.Time) certificates {
	return certificates{ends, n.desc("weepd_certificate_expiry_timestamp_seconds",
		"When the first certificate of a file, or of the broker's, ends: seconds since 1970.", "certificate")}
}

func (c certificates) collect(out sink) {
	if c.ends == nil {
		return
	}
	for name, at := range c.ends() {
		out.gauge(c.desc, float64(at.Unix()), name)
	}
}
