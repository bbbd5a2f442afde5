package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"weepd/agent"
)

const recordStation = `
station: quarry
glands:
  - id: p1-de
    stuffing_box: {thread_pitch_mm: 1.5, follower_travel_mm: 12}
    sensors: {drip: {source: simulated}}
http: {listen: "127.0.0.1:0", users: users}
store: {path: data}
`

// recorder is a running agent to record with.
type recorder struct {
	dir, config, token, url string
	stop                    func()
}

func startRecorder(t *testing.T, dir string) *recorder {
	t.Helper()
	r := &recorder{dir: dir, config: filepath.Join(dir, "quarry.yaml"), token: filepath.Join(dir, "token")}
	r.start(t)
	return r
}

func (r *recorder) start(t *testing.T) {
	t.Helper()
	log, stop := startAgent(t, r.config)
	found := regexp.MustCompile(`page=(http://[0-9.:]+)`).FindStringSubmatch(log.String())
	if found == nil {
		t.Fatalf("no address in %s", log)
	}
	r.url, r.stop = found[1], stop
}

func (r *recorder) record(t *testing.T, args ...string) ran {
	t.Helper()
	return weepd(t, "", append([]string{"record", "--url", r.url, "--token-file", r.token}, args...)...)
}

func (r *recorder) upkeep(t *testing.T) agent.UpkeepState {
	t.Helper()
	asked, err := http.NewRequestWithContext(t.Context(), http.MethodGet, r.url+"/api/v1/upkeep?gland=p1-de", nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(asked)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	var u agent.UpkeepState
	if err := json.NewDecoder(answer.Body).Decode(&u); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%s, %v", answer.Status, err)
	}
	return u
}

func (r *recorder) words(t *testing.T) string {
	t.Helper()
	var list []string
	for _, e := range r.upkeep(t).Entries {
		words := fmt.Sprintf("%s (%s)", e.Words, e.By)
		if e.Void {
			words += " void"
		}
		if e.Corrected > 0 {
			words += " corrected"
		}
		list = append(list, words)
	}
	return strings.Join(list, "; ")
}

// An entry goes in by the command line, shows in the API with who made it, is
// corrected and taken back without being erased, and is there after a restart.
func TestRecord(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "quarry.yaml"), []byte(recordStation), 0o600); err != nil {
		t.Fatal(err)
	}
	users := filepath.Join(dir, "users")
	if got := weepd(t, "a secret of mine\n", "user", "add", "mechanic", "--file", users); got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	made := weepd(t, "", "user", "token", "panel", "--file", users)
	fields := strings.Fields(made.out)
	if err := os.WriteFile(filepath.Join(dir, "token"), []byte(fields[len(fields)-1]+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	r := startRecorder(t, dir)
	for _, args := range [][]string{
		{"p1-de", "repacked", "--packing", "graphite 10 mm", "--rings", "5", "--at", "3h"},
		{"p1-de", "adjusted", "--flats", "2", "--at", "2h"},
		{"p1-de", "counted", "--drops", "31", "--minutes", "1"},
	} {
		if got := r.record(t, args...); got.code != exitDone || got.out != "recorded: p1-de "+args[1]+"\n" {
			t.Fatalf("%v: %+v", args, got)
		}
	}
	if got := weepd(t, "a secret of mine\n", "record", "p1-de", "adjusted", "--flats", "-0.5", "--url", r.url, "--user", "mechanic"); got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	u := r.upkeep(t)
	seqs := []string{fmt.Sprint(u.Entries[1].Seq), fmt.Sprint(u.Entries[2].Seq)}
	if got := r.record(t, "p1-de", "corrected", "--seq", seqs[0], "--flats", "3"); got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	if got := r.record(t, "p1-de", "corrected", "--seq", seqs[1], "--void"); got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	want := "repacked with 5 rings of graphite 10 mm (panel); tightened by 3 flats (panel) corrected; " +
		"counted 31 drops in 1 min: 31 drops/min (21 to 44) (panel) void corrected; slackened by 0.5 flats (mechanic)"
	if got := r.words(t); got != want {
		t.Errorf("entries\n%s\nwant\n%s", got, want)
	}
	if p := r.upkeep(t).Packing; p == nil || p.Flats != 2.5 || *p.TravelUsedMM != 0.63 || *p.TravelMM != 12 {
		t.Errorf("packing %+v", p)
	}
	r.stop()
	r.start(t)
	if got := r.words(t); got != want {
		t.Errorf("after a restart\n%s\nwant\n%s", got, want)
	}
	r.refuses(t)
	r.stop()
}

// refuses shows that what is wrong is told in one line.
func (r *recorder) refuses(t *testing.T) {
	t.Helper()
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"p1-de", "adjustment"}, exitUsage, "no kind \"adjustment\"; want adjusted, repacked"},
		{[]string{"p1-de", "adjusted"}, exitUsage, "flats is missing"},
		{[]string{"p1-de", "adjusted", "--flats", "400"}, exitUsage, "flats is 400, not up to 72 either way and not 0"},
		{[]string{"p1-de", "repacked", "--flats", "1"}, exitUsage, `value of repacked has no "flats"`},
		{[]string{"p1-de", "adjusted", "--flats", "1", "--at", "yesterday"}, exitUsage, "want RFC 3339"},
		{[]string{"p1-de", "adjusted", "--flats", "1", "--void"}, exitUsage, "belong to corrected"},
		{[]string{"p9", "sensor-cleaned"}, exitFault, `not recorded: no gland "p9"; the glands are p1-de`},
		{[]string{"p1-de", "corrected", "--seq", "999", "--void"}, exitFault, "no entry 999 of p1-de"},
		{[]string{"p1-de", "adjusted", "--flats", "1", "--step", "1"}, exitFault, "no offer 1 at p1-de"},
		{[]string{"p1-de", "adjusted", "--flats", "1", "--at", "9000h"}, exitFault, "more than a year ago"},
	} {
		if got := r.record(t, c.args...); got.code != c.code || !strings.Contains(got.err, c.says) || got.out != "" {
			t.Errorf("%v: %+v, want %d and %q", c.args, got, c.code, c.says)
		}
	}
	if got := weepd(t, "wrong\n", "record", "p1-de", "sensor-cleaned", "--url", r.url, "--user", "mechanic"); got.code != exitFault || !strings.Contains(got.err, "secret") {
		t.Errorf("a wrong secret: %+v", got)
	}
	if got := weepd(t, "", "record", "p1-de", "sensor-cleaned", "--url", r.url); got.code != exitUsage || !strings.Contains(got.err, "who are you?") {
		t.Errorf("nobody: %+v", got)
	}
}

func TestRecordWithoutAnAgent(t *testing.T) {
	t.Setenv("WEEPD_TOKEN", "t")
	got := weepd(t, "", "record", "p1-de", "sensor-cleaned", "--url", "http://127.0.0.1:1")
	if got.code != exitFault || !strings.Contains(got.err, "is it running, and is the address right?") {
		t.Errorf("%+v", got)
	}
}
