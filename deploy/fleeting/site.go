package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"weepd/agent/mqtt"
	"weepd/deploy/rig"
)

// site is the control room's side: authority, broker and Prometheus as shipped,
// and a server that gives each station's metrics under its name.
type site struct {
	dir        string
	port       int
	broker     *rig.Process
	prometheus *rig.Process
	promPort   int
	web        *http.Server
	webPort    int
	mux        *http.ServeMux
}

// newBareSite has no broker.
func newBareSite(dir string) *site { return &site{dir: dir, mux: http.NewServeMux()} }

// say gives every station the same metrics.
func (f *site) say(text string) {
	f.mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		_, _ = io.WriteString(w, text)
	})
}

// newSite makes the certificates, by the installer's script, and starts all.
func newSite(ctx context.Context, dir string, stations int, web bool) (*site, error) {
	f := newBareSite(dir)
	for _, args := range [][]string{{"init"}, {"broker", "127.0.0.1"}, {"client", "control-room"}} {
		if err := f.authority(ctx, args...); err != nil {
			return nil, err
		}
	}
	for i := range stations {
		if err := f.authority(ctx, "station", stationID(i)); err != nil {
			return nil, err
		}
	}
	var err error
	if f.port, err = rig.FreePort(); err != nil {
		return nil, err
	}
	if err := f.startBroker(); err != nil {
		return nil, errors.Join(err, f.stop())
	}
	if !web {
		return f, nil
	}
	if err := f.serve(ctx); err != nil {
		return nil, errors.Join(err, f.stop())
	}
	if err := f.startPrometheus(stations); err != nil {
		return nil, errors.Join(err, f.stop())
	}
	return f, nil
}

func (f *site) authority(ctx context.Context, args ...string) error {
	cmd := exec.CommandContext(ctx, filepath.Join(repository, "deploy/broker/authority"), args...)
	cmd.Env = append(os.Environ(), "WEEPD_AUTHORITY="+filepath.Join(f.dir, "authority"))
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("authority %s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}

// repository is where the script starts this program; its tests lie two below.
var repository = func() string {
	if _, err := os.Stat("deploy/broker"); err == nil {
		return "."
	}
	return "../.."
}()

// startBroker starts Mosquitto with deploy/broker/weepd.conf and acl.
func (f *site) startBroker() (err error) {
	home := filepath.Join(f.dir, "broker")
	conf, err := os.ReadFile(filepath.Join(repository, "deploy/broker/weepd.conf"))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(home, 0o700); err != nil {
		return err
	}
	for name, from := range map[string]string{
		"acl": filepath.Join(repository, "deploy/broker/acl"), "ca.pem": f.file("ca.pem"), "crl.pem": f.file("crl.pem"),
		"broker.pem": f.file("broker/broker.pem"), "broker.key": f.file("broker/broker.key"),
	} {
		text, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(home, name), text, 0o600); err != nil {
			return err
		}
	}
	shipped := strings.NewReplacer("listener 8883", fmt.Sprintf("listener %d 127.0.0.1", f.port), "/etc/mosquitto/weepd/", home+"/").Replace(string(conf))
	f.broker, err = rig.MosquittoWith(home, fmt.Sprintf("persistence true\npersistence_location %s/\n%s", home, shipped), f.port)
	return err
}

func (f *site) file(name string) string { return filepath.Join(f.dir, "authority", name) }

func (f *site) mqttConfig(id string) mqtt.Config {
	at := f.file("stations/" + id)
	return mqtt.Config{
		Broker: f.url(), Root: "weepd/" + id, ClientID: "weepd-" + id, Version: "fleet", Station: id,
		TLS: mqtt.TLS{CA: at + "/ca.pem", Cert: at + "/station.pem", Key: at + "/station.key"},
	}
}

func (f *site) url() string { return fmt.Sprintf("ssl://127.0.0.1:%d", f.port) }

func (f *site) serve(ctx context.Context) error {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	f.webPort = l.Addr().(*net.TCPAddr).Port
	f.web = &http.Server{Handler: f.mux, ReadHeaderTimeout: rig.Patience}
	go func() { _ = f.web.Serve(l) }() // until stop closes it
	return nil
}

// startPrometheus scrapes each station every 15 s and evaluates the shipped rules.
func (f *site) startPrometheus(stations int) (err error) {
	home := filepath.Join(f.dir, "prometheus")
	if err := os.MkdirAll(home, 0o700); err != nil {
		return err
	}
	rules, err := filepath.Abs(filepath.Join(repository, "deploy/prometheus"))
	if err != nil {
		return err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "global: {scrape_interval: 15s, evaluation_interval: 15s}\nrule_files: [%q, %q]\nscrape_configs:\n- job_name: weepd\n  static_configs:\n",
		rules+"/weepd-recording.yml", rules+"/weepd-alerts.yml")
	for i := range stations {
		fmt.Fprintf(&b, "  - {targets: ['127.0.0.1:%d'], labels: {__metrics_path__: /%s, station: %s, instance: %s}}\n", f.webPort, stationID(i), stationID(i), stationID(i))
	}
	config := filepath.Join(home, "prometheus.yml")
	if err := os.WriteFile(config, []byte(b.String()), 0o600); err != nil {
		return err
	}
	if f.promPort, err = rig.FreePort(); err != nil {
		return err
	}
	f.prometheus, err = rig.Start(filepath.Join(home, "log"), "prometheus", "--config.file="+config, "--storage.tsdb.path="+filepath.Join(home, "data"),
		fmt.Sprintf("--web.listen-address=127.0.0.1:%d", f.promPort), "--log.level=warn")
	if err != nil {
		return err
	}
	return f.prometheus.Await("prometheus listens", func() bool { return rig.Listens(f.promPort) })
}

func (f *site) stop() error {
	var errs []error
	if f.web != nil {
		errs = append(errs, f.web.Close())
	}
	for _, p := range []*rig.Process{f.prometheus, f.broker} {
		if p != nil {
			errs = append(errs, p.End())
		}
	}
	return errors.Join(errs...)
}
