package main

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
)

// A scrape gets the same packed and plain, also one of several parts, and packed is
// small.
func TestScrapesArePacked(t *testing.T) {
	registry := prometheus.NewRegistry()
	gauges := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "weepd_gland_drops_per_minute", Help: "of a gland"}, []string{"gland"})
	registry.MustRegister(gauges)
	for i := range 2000 {
		gauges.WithLabelValues(fmt.Sprintf("p%d-de", i)).Set(float64(i) * 1.7)
	}
	scrapes, err := scraped(registry)
	if err != nil {
		t.Fatal(err)
	}
	ask := func(accept string) *httptest.ResponseRecorder {
		request := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/metrics", nil)
		request.Header.Set("Accept-Encoding", accept)
		answer := httptest.NewRecorder()
		scrapes.ServeHTTP(answer, request)
		return answer
	}
	plain, packed := ask("identity"), ask("gzip")
	length := packed.Body.Len()
	reader, err := gzip.NewReader(packed.Body)
	if err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(reader)
	if want := plain.Body.String(); err != nil || string(got) != want || len(want) < 3*scrapeParts || length > len(want)/4 {
		t.Errorf("%d bytes packed, %d unpacked (%v); want %d", length, len(got), err, len(want))
	}
	for _, answer := range []*httptest.ResponseRecorder{plain, packed} {
		if got := answer.Header().Get("Content-Type"); got == "" || answer.Code != http.StatusOK {
			t.Errorf("status %d, type %q", answer.Code, got)
		}
	}
}
