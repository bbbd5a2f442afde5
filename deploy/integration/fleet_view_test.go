//go:build integration

package integration

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
)

// controlRoom is what a control room has: the broker, Prometheus, Alertmanager
// and a receiver of calls, all by the files that are shipped.
type controlRoom struct {
	prometheus string // address
	calls      *calls
}

// calls notes what Alertmanager sends, by the path of its receiver.
type calls struct {
	mu   sync.Mutex
	body map[string]string
}

func (c *calls) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	var text bytes.Buffer
	_, _ = text.ReadFrom(r.Body)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.body[r.URL.Path] += text.String()
}

func (c *calls) on(path string) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.body[path]
}

// newControlRoom starts it for one station, quarry, which is reached by TLS,
// with a token, at httpPort.
func newControlRoom(t *testing.T, i installer, httpPort int, token string) controlRoom {
	t.Helper()
	dir := t.TempDir()
	room := controlRoom{calls: &calls{body: make(map[string]string)}}
	receiver := httptest.NewServer(room.calls)
	t.Cleanup(receiver.Close)
	alertmanager, prometheus := fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))

	routes := write(t, filepath.Join(dir, "alertmanager.yml"), strings.ReplaceAll(read(t, "../prometheus/alertmanager.yml"), "http://127.0.0.1:9780", receiver.URL))
	launch(t, "prometheus-alertmanager", "--config.file="+routes, "--web.listen-address="+alertmanager, "--cluster.listen-address=",
		"--storage.path="+filepath.Join(dir, "alertmanager"))

	// Only addresses and the pace are not the shipped ones.
	quicker := strings.NewReplacer("127.0.0.1:9093", alertmanager, "15s", "1s", "scrape_timeout: 10s", "scrape_timeout: 1s")
	conf := write(t, filepath.Join(dir, "prometheus.yml"), quicker.Replace(read(t, "../prometheus/prometheus.yml")))
	for _, name := range []string{"weepd-recording.yml", "weepd-alerts.yml"} {
		write(t, filepath.Join(dir, name), read(t, "../prometheus/"+name))
	}
	write(t, filepath.Join(dir, "weepd-ca.pem"), read(t, i.home+"/ca.pem"))
	write(t, filepath.Join(dir, "weepd-token"), token)
	if err := os.Mkdir(filepath.Join(dir, "stations"), 0o700); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "stations/north.yml"), strings.ReplaceAll(read(t, "../prometheus/stations/north.yml"),
		"quarry.example:9733", fmt.Sprintf("127.0.0.1:%d", httpPort)))
	if out, err := exec.CommandContext(t.Context(), "promtool", "check", "config", conf).CombinedOutput(); err != nil {
		t.Fatalf("promtool check config: %v\n%s", err, out)
	}
	p := launch(t, "prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"), "--web.listen-address="+prometheus)
	p.saysEventually(t, "Server is ready")
	room.prometheus = "http://" + prometheus
	return room
}

// A real station in a real control room: Prometheus scrapes it over TLS with a
// token, Alertmanager calls the control room for the dry gland, and every query
// of the dashboard is valid and finds something.
func TestControlRoomSeesTheStation(t *testing.T) {
	i, port := newInstaller(t), freePort(t)
	i.does("broker", "127.0.0.1")
	i.does("station", "quarry")
	shippedBroker(t, i, port, "")
	dir, at := t.TempDir(), filepath.Join(i.home, "stations/quarry")
	token, err := exec.CommandContext(t.Context(), weepd, "user", "token", "metrics", "--read-only", "--file", filepath.Join(dir, "users")).Output()
	if err != nil {
		t.Fatal(err)
	}
	configuration, httpPort := station(t, dir, fmt.Sprintf("mqtt: {broker: \"ssl://127.0.0.1:%d\", tls: {ca: %[2]s/ca.pem, cert: %[2]s/station.pem, key: %[2]s/station.key}}\n", port, at))
	text := strings.Replace(read(t, configuration), `http: {`, fmt.Sprintf("http: {users: users, tls: {cert: %[1]s.pem, key: %[1]s.key}, ", filepath.Join(i.home, "broker/broker")), 1)
	// A sensor that reports a fault, so that there is one to be seen.
	write(t, filepath.Join(dir, "fault.csv"), "time,point,value\n2026-03-01T06:00:00Z,p3-de.temp,NaN\n")
	text = strings.Replace(text, "http: {", fmt.Sprintf("  - id: p3-de\n    sensors: {temp: {source: recording, path: fault.csv, speed: %d}}\nhttp: {", speed), 1)
	launch(t, weepd, "run", "--config", write(t, configuration, text))
	room := newControlRoom(t, i, httpPort, string(token))

	eventually(t, "the control room is called", func() bool {
		return strings.Contains(room.calls.on("/urgent"), "quarry, gland p1-de: dry")
	})
	if strings.Contains(room.calls.on("/urgent"), "GlandLeaking") {
		t.Error("a leak is no urgent call")
	}
	asked := questions(t)
	if len(asked) < 30 {
		t.Errorf("only %d queries in the dashboard", len(asked))
	}
	missing := asked
	eventually(t, "every query finds something", func() bool {
		missing = slices.DeleteFunc(missing, func(q string) bool { return finds(t, room.prometheus, q) })
		if len(missing) > 0 {
			t.Logf("nothing yet: %s", strings.Join(missing, " ; "))
		}
		return len(missing) == 0
	})
}

// questions are the queries of the dashboard, with the choices of one who looks
// at gland p1-de of station quarry.
func questions(t *testing.T) (queries []string) {
	t.Helper()
	var board struct {
		Panels []struct {
			ID      int
			Title   string
			Type    string
			GridPos struct{ X, Y, W, H int }
			Targets []struct{ Expr string }
		}
		Templating struct {
			List []struct{ Definition string }
		}
	}
	if err := json.Unmarshal([]byte(read(t, "../grafana/weepd.json")), &board); err != nil {
		t.Fatal(err)
	}
	chosen := strings.NewReplacer("$__rate_interval", "1m", "$__range", "1h", "$region", "north", "$station", "quarry", "$gland", "p.*")
	taken := make(map[[2]int]string)
	ids := make(map[int]bool)
	for _, p := range board.Panels {
		if ids[p.ID] {
			t.Errorf("two panels have id %d", p.ID)
		}
		ids[p.ID] = true
		for at := range p.GridPos.W * p.GridPos.H {
			place := [2]int{p.GridPos.X + at%p.GridPos.W, p.GridPos.Y + at/p.GridPos.W}
			if other, is := taken[place]; is || place[0] >= 24 {
				t.Fatalf("panel %s lies on %s or beside the page", p.Title, other)
			}
			taken[place] = p.Title
		}
		if p.Type != "row" && len(p.Targets) == 0 {
			t.Errorf("panel %s asks nothing", p.Title)
		}
		for _, target := range p.Targets {
			queries = append(queries, chosen.Replace(target.Expr))
		}
	}
	labels := regexp.MustCompile(`^label_values\((.*), (\w+)\)$`)
	for _, v := range board.Templating.List {
		if v.Definition == "" {
			continue
		}
		parts := labels.FindStringSubmatch(chosen.Replace(v.Definition))
		if parts == nil {
			t.Fatalf("variable by %s", v.Definition)
		}
		queries = append(queries, fmt.Sprintf(`group by (%s) (%s{%[1]s!=""})`, parts[2], parts[1]))
	}
	for i, q := range queries {
		if strings.Contains(q, "}{") { // label_values of a selector that has labels
			queries[i] = strings.Replace(q, "}{", ",", 1)
		}
		if strings.Contains(q, "$") {
			t.Errorf("not all is chosen in %s", q)
		}
	}
	return queries
}

// finds asks Prometheus; a query that is not valid ends the test.
func finds(t *testing.T, prometheus, expression string) bool {
	t.Helper()
	_, body := get(t, prometheus+"/api/v1/query?query="+url.QueryEscape(expression))
	var answer struct {
		Status, Error string
		Data          struct{ Result []json.RawMessage }
	}
	if err := json.Unmarshal([]byte(body), &answer); err != nil || answer.Status != "success" {
		t.Fatalf("%s: %v %s", expression, err, body)
	}
	return len(answer.Data.Result) > 0
}

// What promtool and amtool say to the shipped rules and routes.
func TestRulesAndRoutes(t *testing.T) {
	tool := func(name string, args ...string) {
		t.Helper()
		cmd := exec.CommandContext(t.Context(), name, args...)
		cmd.Dir = "../prometheus"
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%s %s: %v\n%s\nrun deploy/test, which installs what is missing", name, strings.Join(args, " "), err, out)
		}
	}
	tool("promtool", "check", "rules", "weepd-recording.yml", "weepd-alerts.yml")
	tool("promtool", "test", "rules", "tests.yml", "tests-days.yml")
	tool("amtool", "check-config", "alertmanager.yml")
	for severity, receiver := range map[string]string{"urgent": "control-room", "plan": "planning", "upkeep": "upkeep", "other": "upkeep"} {
		tool("amtool", "config", "routes", "test", "--config.file=alertmanager.yml", "--verify.receivers="+receiver, "severity="+severity, "station=quarry")
	}

	// Every rule is tested, and every severity has its route.
	tests := read(t, "../prometheus/tests.yml") + read(t, "../prometheus/tests-days.yml")
	alerts := read(t, "../prometheus/weepd-alerts.yml")
	names := regexp.MustCompile(`(?m)^ +- (alert|record): (\S+)$`).FindAllStringSubmatch(alerts+read(t, "../prometheus/weepd-recording.yml"), -1)
	if len(names) < 20 {
		t.Errorf("only %d rules", len(names))
	}
	for _, n := range names {
		if !regexp.MustCompile(`(alertname: |expr: )` + regexp.QuoteMeta(n[2]) + `\b`).MatchString(tests) {
			t.Errorf("%s %s is tested by nothing", n[1], n[2])
		}
	}
	for _, s := range regexp.MustCompile(`severity: (\w+)`).FindAllStringSubmatch(alerts, -1) {
		if !slices.Contains([]string{"urgent", "plan", "upkeep"}, s[1]) {
			t.Errorf("severity %s has no route", s[1])
		}
	}
}
