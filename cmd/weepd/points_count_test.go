package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// saying is the output of a command that is still running.
type saying struct {
	mu   sync.Mutex
	text strings.Builder
}

func (s *saying) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(b)
}

func (s *saying) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

func (s *saying) until(t *testing.T, what string, holds func(string) bool) {
	t.Helper()
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		if holds(s.String()) {
			return
		}
	}
	t.Fatalf("%s: not within a minute:\n%s", what, s)
}

// The sensor's counts that agree are those within Garwood's limits of the hand
// count, from SciPy 1.10.1 and R's poisson.test (95 %, two-sided).
func TestAgreementIsGarwoods(t *testing.T) {
	for _, c := range []struct {
		hand      uint64
		low, high float64
	}{
		{0, 0, 3.688879}, {1, 0.025318, 5.571643}, {2, 0.242209, 7.224688}, {3, 0.618672, 8.767273},
		{4, 1.089865, 10.241589}, {5, 1.623486, 11.668332}, {10, 4.795389, 18.390356},
		{20, 12.216520, 30.888378}, {40, 28.576586, 54.468647}, {60, 45.786321, 77.231893},
	} {
		low, high := agreement{hand: c.hand}.limits()
		if diff := max(low-c.low, c.low-low, high-c.high, c.high-high); diff > 1e-5 {
			t.Errorf("%d: limits %.6f to %.6f, want %.6f to %.6f", c.hand, low, high, c.low, c.high)
		}
		for sensor := range uint64(100) {
			a := agreement{hand: c.hand, sensor: sensor, span: time.Minute}
			if want := float64(sensor) >= c.low && float64(sensor) <= c.high; a.holds() != want {
				t.Errorf("hand %d, sensor %d: agrees %v", c.hand, sensor, a.holds())
			}
			if text := a.String(); strings.Contains(text, "\nAGREES: ") != a.holds() || strings.Contains(text, "\nDISAGREES: ") == a.holds() {
				t.Errorf("verdict of %d and %d: %s", c.hand, sensor, text)
			}
		}
	}
}

// hand is a person at the keyboard, and a counter node that drops reach.
type hand struct {
	keys *io.PipeWriter
	out  *saying
	node string
	code chan int
}

func countAlong(t *testing.T) *hand {
	t.Helper()
	path := sensorFiles(t, "station: quarry\nglands: [{id: p1-de, sensors: {drip: {source: counter, path: count, every: 100ms}}}]\n",
		map[string]string{"count": "500\n"})
	in, keys := io.Pipe()
	h := &hand{keys: keys, out: &saying{}, node: filepath.Join(filepath.Dir(path), "count"), code: make(chan int, 1)}
	go func() {
		h.code <- execute(t.Context(), []string{"points", "--config", path, "--count", "p1-de"}, in, h.out, h.out)
	}()
	t.Cleanup(func() { _ = keys.Close() })
	return h
}

func (h *hand) types(t *testing.T, line string) {
	t.Helper()
	if _, err := io.WriteString(h.keys, line+"\r\n"); err != nil {
		t.Fatal(err)
	}
}

// begins starts the count as soon as the sensor is there.
func (h *hand) begins(t *testing.T) {
	t.Helper()
	before := strings.Count(h.out.String(), "Counting. ")
	for until := time.Now().Add(time.Minute); strings.Count(h.out.String(), "Counting. ") == before; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatalf("does not begin:\n%s", h.out)
		}
		if strings.HasSuffix(h.out.String(), "q ends: ") {
			h.types(t, "")
		}
	}
}

// counts sets the node as a kernel would: the text is there at once or not yet.
func (h *hand) counts(t *testing.T, total int) {
	t.Helper()
	if err := os.WriteFile(h.node+".new", fmt.Appendln(nil, total), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(h.node+".new", h.node); err != nil {
		t.Fatal(err)
	}
}

func TestCountAlongAgreesAndDisagrees(t *testing.T) {
	h := countAlong(t)
	h.begins(t)
	if text := h.out.String(); !strings.Contains(text, "outside the guards") {
		t.Errorf("no warning:\n%s", text)
	}
	h.counts(t, 510)
	h.out.until(t, "10 drops", func(s string) bool { return strings.Contains(s, "\n10 drops in ") })
	h.types(t, "")
	h.types(t, "ten")
	h.types(t, "-1")
	h.types(t, "11")
	h.out.until(t, "verdict", func(s string) bool { return strings.Contains(s, "\nAGREES: ") })
	for _, want := range []string{
		`"ten" is no whole number`, `"-1" is no whole number`, "you counted 11, ", "; the sensor 10, ", " dpm (", "Poisson limits of your count, 5.5 to 19.7 drops (Garwood)",
	} {
		if !strings.Contains(h.out.String(), want) {
			t.Errorf("no %q in:\n%s", want, h.out)
		}
	}
	h.begins(t)
	h.counts(t, 514)
	h.out.until(t, "4 drops", func(s string) bool { return strings.Contains(s, "\n4 drops in ") })
	h.types(t, "10")
	h.out.until(t, "verdict", func(s string) bool { return strings.Contains(s, "\nDISAGREES: below ") })
	h.types(t, "q")
	if code := <-h.code; code != exitFault || !strings.Contains(h.out.String(), "sensor of p1-de disagrees with the last count") {
		t.Errorf("exit %d:\n%s", code, h.out)
	}
}

func TestCountAlongComparesNothingThatIsNotBelieved(t *testing.T) {
	h := countAlong(t)
	h.begins(t)
	h.counts(t, 3) // set anew: what fell meanwhile is lost
	h.out.until(t, "loss", func(s string) bool { return strings.Contains(s, "not to be believed") })
	h.types(t, "5")
	h.out.until(t, "refusal", func(s string) bool { return strings.Contains(s, "Not compared: ") })
	_ = h.keys.Close()
	if code := <-h.code; code != exitFault || !strings.Contains(h.out.String(), "nothing was compared") || strings.Contains(h.out.String(), "AGREES") {
		t.Errorf("exit %d:\n%s", code, h.out)
	}
}

func TestCountAlongWaitsForTheSensor(t *testing.T) {
	path := sensorFiles(t, "station: quarry\nglands: [{id: p1-de, sensors: {drip: {source: counter, path: none}}}]\n", map[string]string{})
	got := weepd(t, "\n", "points", "--config", path, "--count", "p1-de.drip")
	if got.code != exitFault || !strings.Contains(got.out, "The sensor cannot be read yet") || strings.Contains(got.out, "Counting. ") {
		t.Errorf("%+v", got)
	}
}
