package remotewrite

import (
	"context"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/snappy"
	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/dynamicpb"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// receiver is a strict one: it takes a message as a whole, and refuses it with
// the status that Prometheus 2.42 gives if any sample is before oldest.
type receiver struct {
	t *testing.T
	*httptest.Server
	mu     sync.Mutex
	status int       // answers this to everything, if set
	oldest time.Time // refuses messages with samples before
	taken  []int64   // timestamps, in order of arrival
	asked  int
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{t: t}
	r.Server = httptest.NewServer(http.HandlerFunc(r.take))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) take(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	plain, err2 := snappy.Decode(nil, body)
	if err != nil || err2 != nil || q.Header.Get("Content-Encoding") != "snappy" || q.Header.Get("Content-Type") != "application/x-protobuf" ||
		q.Header.Get("X-Prometheus-Remote-Write-Version") != "0.1.0" {
		r.t.Errorf("request %v, %v, %v", q.Header, err, err2)
	}
	d := reference(r.t)
	m := dynamicpb.NewMessage(d)
	if err := proto.Unmarshal(plain, m); err != nil {
		r.t.Error(err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.asked++
	var times []int64
	series := m.Get(d.Fields().ByName("timeseries")).List()
	for i := range series.Len() {
		s := series.Get(i).Message()
		sample := s.Get(s.Descriptor().Fields().ByName("samples")).List().Get(0).Message()
		at := sample.Get(sample.Descriptor().Fields().ByName("timestamp")).Int()
		if r.status == 0 && at < r.oldest.UnixMilli() {
			http.Error(w, "too old sample", http.StatusInternalServerError)
			return
		}
		times = append(times, at)
	}
	if r.status != 0 {
		http.Error(w, "as asked", r.status)
		return
	}
	r.taken = append(r.taken, slices.Compact(times)...)
}

func (r *receiver) set(status int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.status = status
}

func (r *receiver) got() []int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.taken)
}

type bench struct {
	*Writer
	at time.Time
}

func newBench(t *testing.T, url, dir string) *bench {
	t.Helper()
	registry := prometheus.NewRegistry()
	g := prometheus.NewGauge(prometheus.GaugeOpts{Name: "weepd_gland_running", Help: "x"})
	registry.MustRegister(g)
	b := &bench{at: time.UnixMilli(1785000000000).UTC()}
	b.Writer = New(Config{
		URL: url, Every: time.Minute, MaxAge: time.Hour, MaxBytes: 1 << 20, Dir: dir, Station: "quarry", Version: "1",
		Log: slog.New(slog.DiscardHandler),
	}, registry)
	b.now = func() time.Time { return b.at }
	t.Cleanup(b.hangUp)
	return b
}

// minutes lets so many rounds happen.
func (b *bench) minutes(t *testing.T, n int) (sent []int64) {
	t.Helper()
	for range n {
		b.at = b.at.Add(time.Minute)
		sent = append(sent, b.at.UnixMilli())
		b.round(t.Context(), time.Now().Add(time.Minute))
	}
	return sent
}

func files(t *testing.T, dir string) (names []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range list {
		names = append(names, f.Name())
	}
	return names
}

// While all goes well nothing is written to the disk.
func TestNothingWaitsWhileAllGoesWell(t *testing.T) {
	r, dir := newReceiver(t), t.TempDir()
	b := newBench(t, r.URL, dir)
	want := b.minutes(t, 12)
	if got := r.got(); !slices.Equal(got, want) || b.Pending() != 0 || len(files(t, dir)) != 0 || b.Sent() != 12 {
		t.Errorf("got %v, want %v; %d wait, %v", got, want, b.Pending(), files(t, dir))
	}
}

// After an outage the newest comes first, then all that waited, in order.
func TestBackfillAfterAnOutage(t *testing.T) {
	r, dir := newReceiver(t), t.TempDir()
	b := newBench(t, r.URL, dir)
	r.set(http.StatusServiceUnavailable)
	waited := b.minutes(t, 13)
	if len(files(t, dir)) != 2 || b.Pending() != 13 {
		t.Fatalf("%d wait, %v", b.Pending(), files(t, dir))
	}
	r.set(0)
	fresh := b.minutes(t, 1)
	if got, want := r.got(), slices.Concat(fresh, waited); !slices.Equal(got, want) || b.Pending() != 0 || len(files(t, dir)) != 0 {
		t.Errorf("got %v,\nwant %v; %d wait", got, want, b.Pending())
	}
}

func TestBacklogSurvivesARestart(t *testing.T) {
	r, dir := newReceiver(t), t.TempDir()
	r.set(http.StatusBadGateway)
	b := newBench(t, r.URL, dir)
	waited := b.minutes(t, 7)
	if err := b.stop(); err != nil { // one more, and what was in memory
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "00000000000000000009.samples.new"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	again := newBench(t, r.URL, dir)
	again.at = b.at
	if again.Pending() != 8 {
		t.Fatalf("%d wait after the restart, want 8", again.Pending())
	}
	r.set(0)
	fresh := again.minutes(t, 1)
	want := slices.Concat(fresh, waited, waited[6:])
	if got := r.got(); !slices.Equal(slices.Compact(got), slices.Compact(want)) || len(files(t, dir)) != 0 {
		t.Errorf("got %v,\nwant %v, %v", got, want, files(t, dir))
	}
}

// A batch that is too old among good ones: what is known to be too old is not
// sent; what the receiver refuses all the same is found by halves and given up,
// and nothing good is lost with it.
func TestTooOldAmongGood(t *testing.T) {
	r, dir := newReceiver(t), t.TempDir()
	b := newBench(t, r.URL, dir)
	r.set(http.StatusServiceUnavailable)
	expired := b.minutes(t, 2)
	b.at = b.at.Add(30 * time.Minute)
	refused := b.minutes(t, 1)
	b.at = b.at.Add(10 * time.Minute)
	good := b.minutes(t, 7)
	b.at = time.UnixMilli(expired[1]).Add(time.Hour + time.Millisecond)
	r.set(0)
	r.oldest = time.UnixMilli(refused[0] + 1)
	fresh := b.minutes(t, 1)
	if got, want := r.got(), slices.Concat(fresh, good); !slices.Equal(got, want) || b.Pending() != 0 {
		t.Errorf("got %v,\nwant %v; %d wait", got, want, b.Pending())
	}
	if lost, old, full := b.Dropped(); lost != 1 || old != 2 || full != 0 {
		t.Errorf("dropped: %d refused, %d too old, %d without room", lost, old, full)
	}
	if r.asked > 30 {
		t.Errorf("asked %d times", r.asked)
	}
}

// A receiver that refuses everything is ill: nothing is given up.
func TestNothingIsGivenUpWhileTheReceiverIsIll(t *testing.T) {
	for _, status := range []int{400, 401, 404, 429, 500, 503} {
		r := newReceiver(t)
		r.set(status)
		b := newBench(t, r.URL, t.TempDir())
		b.minutes(t, 8)
		if lost, old, full := b.Dropped(); b.Pending() != 8 || lost+old+full != 0 || r.asked != 8 {
			t.Errorf("status %d: %d wait, %d %d %d given up, asked %d times", status, b.Pending(), lost, old, full, r.asked)
		}
	}
}

// The disk is bounded: the oldest go first, and are counted.
func TestQueueIsBounded(t *testing.T) {
	dir := t.TempDir()
	q, err := openQueue(dir, 3000)
	if err != nil {
		t.Fatal(err)
	}
	body := []byte(strings.Repeat("0123456789abcdef", 16))
	for i := range body {
		body[i] += byte(i * 7 % 31) // hardly compressible
	}
	for i := range 100 {
		if err := q.add(instant{time.UnixMilli(int64(i)), body}); err != nil {
			t.Fatal(err)
		}
	}
	sum := int64(0)
	for _, name := range files(t, dir) {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		sum += info.Size()
	}
	n, dropped := q.waiting()
	if sum > 3000 || n+int(dropped) != 100 || n == 0 {
		t.Errorf("%d bytes, %d wait, %d dropped", sum, n, dropped)
	}
	if b, found, err := q.oldest(); err != nil || !found || b.instants[0].at.UnixMilli() != int64(dropped) {
		t.Errorf("oldest %+v, %v, %v", b, found, err)
	}
}

// A disk that cannot be written costs no sample of the next minutes.
func TestDiskFails(t *testing.T) {
	r := newReceiver(t)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	b := newBench(t, r.URL, filepath.Join(file, "no folder"))
	r.set(http.StatusServiceUnavailable)
	waited := b.minutes(t, 8)
	r.set(0)
	fresh := b.minutes(t, 1)
	if got, want := r.got(), slices.Concat(fresh, waited); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestRunSendsAtOnceAndAtTheEnd(t *testing.T) {
	r := newReceiver(t)
	b := newBench(t, r.URL, t.TempDir())
	b.cfg.Every = 20 * time.Millisecond
	b.now = time.Now
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	for until := time.Now().Add(20 * time.Second); len(r.got()) < 3 && time.Now().Before(until); time.Sleep(5 * time.Millisecond) {
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if got := r.got(); len(got) < 4 || !slices.IsSorted(got) {
		t.Errorf("got %v", got)
	}
}

func TestAuthorisation(t *testing.T) {
	var user, password string
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) { user, password, _ = q.BasicAuth() }))
	defer server.Close()
	b := newBench(t, server.URL, t.TempDir())
	b.cfg.Username, b.cfg.PasswordFile = "quarry", filepath.Join(t.TempDir(), "password")
	if b.minutes(t, 1); b.Pending() != 1 {
		t.Error("sent without its password")
	}
	if err := os.WriteFile(b.cfg.PasswordFile, []byte("secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b.hangUp(); b.sender != nil {
		b.sender = nil
	}
	if b.minutes(t, 1); user != "quarry" || password != "secret" || b.Pending() != 0 {
		t.Errorf("user %q, password %q, %d wait", user, password, b.Pending())
	}
}

func TestFreshIsNotANumber(t *testing.T) {
	if v := math.Float64frombits(staleBits); !math.IsNaN(v) {
		t.Errorf("the mark of an ended series is %v", v)
	}
}
