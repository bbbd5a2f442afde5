//go:build integration

package integration

import (
	"encoding/json"
	"fmt"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A real Prometheus scrapes the agent, and an alert on an alarm fires.
func TestPrometheusAlertFires(t *testing.T) {
	dir := t.TempDir()
	configuration, port := station(t, dir, "")
	launch(t, weepd, "run", "--config", configuration)
	prometheus := startPrometheus(t, dir, port, `weepd_alarm_active{condition="dry"} == 1`)

	eventually(t, "Prometheus has the weep of both glands", func() bool {
		return len(query(t, prometheus, "weepd_gland_drops_per_minute")) == 2
	})
	checkMetrics(t, port)
	eventually(t, "alert fires", func() bool {
		_, body := get(t, prometheus+"/api/v1/alerts")
		return strings.Contains(body, `"state":"firing"`) && strings.Contains(body, `"gland":"p1-de"`)
	})
	if n := len(query(t, prometheus, `weepd_gland_temperature_celsius{gland="p2-nde"}`)); n != 0 {
		t.Error("a temperature that is not measured has a series")
	}
}

func startPrometheus(t *testing.T, dir string, scrape int, alert string) (base string) {
	t.Helper()
	write(t, filepath.Join(dir, "rules.yml"), fmt.Sprintf(`groups:
  - name: weepd
    rules:
      - alert: GlandDry
        expr: '%s'
        labels: {severity: page}
        annotations: {summary: 'Gland {{ $labels.gland }} is {{ $labels.condition }}'}
`, alert))
	conf := write(t, filepath.Join(dir, "prometheus.yml"), fmt.Sprintf(`global: {scrape_interval: 1s, evaluation_interval: 1s}
rule_files: [rules.yml]
scrape_configs:
  - job_name: weepd
    static_configs: [{targets: ['127.0.0.1:%d']}]
`, scrape))
	if out, err := exec.CommandContext(t.Context(), "promtool", "check", "config", conf).CombinedOutput(); err != nil {
		t.Fatalf("promtool check config: %v\n%s", err, out)
	}
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	p := launch(t, "prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"), "--web.listen-address="+address)
	p.saysEventually(t, "Server is ready")
	return "http://" + address
}

// query gives the series of an instant query.
func query(t *testing.T, prometheus, expression string) []map[string]string {
	t.Helper()
	_, body := get(t, prometheus+"/api/v1/query?query="+url.QueryEscape(expression))
	var answer struct {
		Data struct {
			Result []struct{ Metric map[string]string }
		}
	}
	if err := json.Unmarshal([]byte(body), &answer); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	var series []map[string]string
	for _, r := range answer.Data.Result {
		series = append(series, r.Metric)
	}
	return series
}

// checkMetrics lints the live metrics: promtool has nothing to say.
func checkMetrics(t *testing.T, port int) {
	t.Helper()
	_, body := get(t, fmt.Sprintf("http://127.0.0.1:%d/metrics", port))
	lint := exec.CommandContext(t.Context(), "promtool", "check", "metrics")
	lint.Stdin = strings.NewReader(body)
	if out, err := lint.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
	for _, name := range []string{
		"weepd_gland_drops_total", "weepd_gland_drops_per_minute", "weepd_gland_temperature_celsius",
		"weepd_gland_temperature_rise_celsius", "weepd_gland_running", "weepd_alarm_active",
		"weepd_outbox_pending", "weepd_outbox_sent_total", "weepd_build_info",
		"weepd_queue_length", "weepd_queue_dropped_total", "go_goroutines", "process_resident_memory_bytes",
	} {
		if !strings.Contains(body, "\n"+name) {
			t.Errorf("no series of %s", name)
		}
	}
}
