package export

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors/recording"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rowsOf is a store of given rows; fail is met after them.
type rowsOf struct {
	rows []agent.ExportRow
	fail error
}

func (r rowsOf) Export(_ context.Context, _ agent.ExportRequest, do func(agent.ExportRow) error) (agent.Exported, error) {
	for _, row := range r.rows {
		if err := do(row); err != nil {
			return agent.Exported{}, err
		}
	}
	return agent.Exported{Notes: []string{"a note"}}, r.fail
}

var begin = time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)

// station is some hours of two glands: p1 with all sensors, p2 with slow
// thermometers only, and stretches in which both, or p2 alone, say nothing.
func station(seed uint64) rowsOf {
	random := rand.New(rand.NewPCG(seed, 3))
	var s rowsOf
	at := time.Duration(0)
	put := func(gland string, k reading.Kind, v float64, q reading.Quality) {
		at += time.Duration(random.Int64N(9)) + 1
		s.rows = append(s.rows, agent.ExportRow{
			Reading: reading.Reading{At: at, Point: reading.Point{Gland: gland, Kind: k}, Value: v, Quality: q}, Time: begin.Add(at),
		})
	}
	put("p1", reading.Watch, 1, reading.Good)
	put("p2", reading.Watch, 1, reading.Good)
	dpm, rise := 30.0, 10.0
	for at < 6*time.Hour {
		switch random.IntN(600) {
		case 0:
			dpm = []float64{2, 30, 150}[random.IntN(3)]
		case 1, 2:
			rise = []float64{10, 40}[random.IntN(2)]
		case 3:
			at += time.Duration(random.Int64N(int64(3 * time.Minute))) // perhaps a gap
		}
		at += time.Duration(random.ExpFloat64() * 60 / dpm * float64(time.Second))
		put("p1", reading.Drip, 1, reading.Good)
		if random.IntN(60) == 0 {
			put("p1", reading.Temp, 20+rise+random.Float64(), reading.Quality(random.IntN(2)*int(reading.OpenCircuit)))
			put("p1", reading.Ref, 20, reading.Good)
		}
		if random.IntN(60) == 0 {
			put("p2", reading.Temp, 20+rise+random.Float64(), reading.Good)
			put("p2", reading.Ref, 20, reading.Good)
		}
	}
	return s
}

func replay(t *testing.T, recorded []byte, gland string) (list []string) {
	t.Helper()
	var cfg rules.Config
	for _, id := range []string{"p1", "p2"} {
		cfg.Glands = append(cfg.Glands, rules.GlandConfig{
			ID: id, NormalDPM: 30, Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: rules.Timing{OffDelay: time.Minute},
		})
	}
	s, err := rules.NewStation(cfg)
	if err != nil {
		t.Fatal(err)
	}
	r, err := recording.NewReader("export", bytes.NewReader(recorded))
	if err != nil {
		t.Fatal(err)
	}
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return list
		}
		if err != nil {
			t.Fatal(err)
		}
		out, err := s.Feed(row)
		if err != nil {
			t.Fatal(err)
		}
		for _, tr := range out {
			if tr.Gland == gland {
				list = append(list, fmt.Sprint(tr.At, tr.Condition, tr.Active))
			}
		}
	}
}

func recorded(t *testing.T, from Store, glands ...string) ([]byte, agent.Exported) {
	t.Helper()
	var out bytes.Buffer
	done, err := Write(t.Context(), from, agent.ExportRequest{Glands: glands}, &out)
	if err != nil {
		t.Fatal(err)
	}
	return out.Bytes(), done
}

// One gland alone replays as it does in its station: where the others kept the
// station watched, marks do.
func TestOneGlandReplaysAsInItsStation(t *testing.T) {
	shown := 0
	for seed := range uint64(20) {
		all, _ := recorded(t, station(seed))
		for _, gland := range []string{"p1", "p2"} {
			one, done := recorded(t, station(seed), gland)
			want, got := replay(t, all, gland), replay(t, one, gland)
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("seed %d, %s alone\n%v\nin its station\n%v", seed, gland, got, want)
			}
			if shown += len(want); done.Rows != int64(bytes.Count(one, []byte("\n"))-1) {
				t.Errorf("%d rows told, %d lines", done.Rows, bytes.Count(one, []byte("\n")))
			}
		}
	}
	if shown < 100 {
		t.Errorf("only %d transitions", shown)
	}
}

// What a recording cannot hold is written as the rules take it.
func TestOddValues(t *testing.T) {
	for _, c := range []struct {
		kind  reading.Kind
		value float64
		want  string
	}{
		{reading.Temp, math.Inf(1), "NaN"}, {reading.Ref, math.NaN(), "NaN"}, {reading.Drip, 2.7, "2"}, {reading.Drip, -1, "0"},
		{reading.Drip, math.NaN(), "0"}, {reading.Drip, 1e9, "1000000"}, {reading.Run, 0.5, "1"}, {reading.Temp, -3.25, "-3.25"},
	} {
		row := agent.ExportRow{Reading: reading.Reading{Point: reading.Point{Gland: "p1", Kind: c.kind}, Value: c.value}, Time: begin}
		got, _ := recorded(t, rowsOf{rows: []agent.ExportRow{row}})
		if !strings.HasSuffix(string(got), ","+c.want+"\n") {
			t.Errorf("%s %g: %s", c.kind, c.value, got)
		}
	}
}

// serving runs a server in folder until the returned function is called.
func serving(t *testing.T, folder string, store Store, sync func(context.Context) error) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- NewServer(folder, store, sync, slog.New(slog.DiscardHandler)).Run(ctx) }()
	socket := filepath.Join(folder, SocketName)
	for until := time.Now().Add(30 * time.Second); time.Now().Before(until); time.Sleep(5 * time.Millisecond) {
		if info, err := os.Stat(socket); err == nil && info.Mode().Perm() == 0o600 {
			break
		}
	}
	return func() {
		t.Helper()
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(socket); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("the socket is left: %v", err)
		}
	}
}

// A running agent gives the same as its store would, also from a folder whose
// name is too long for a socket's.
func TestAskTheAgent(t *testing.T) {
	for _, folder := range []string{t.TempDir(), filepath.Join(t.TempDir(), strings.Repeat("long", 40))} {
		if err := os.MkdirAll(folder, 0o750); err != nil {
			t.Fatal(err)
		}
		synced := 0
		stop := serving(t, folder, station(1), func(context.Context) error { synced++; return nil })
		want, _ := recorded(t, station(1), "p1")
		var got bytes.Buffer
		done, err := Ask(t.Context(), folder, agent.ExportRequest{Glands: []string{"p1"}}, &got)
		if err != nil || !bytes.Equal(got.Bytes(), want) || synced != 1 {
			t.Errorf("%v, %d bytes of %d, synced %d times", err, got.Len(), len(want), synced)
		}
		if done.Rows == 0 || !done.From.Equal(begin.Add(1)) && done.From.IsZero() || len(done.Notes) != 1 {
			t.Errorf("%+v", done)
		}
		stop()
	}
}

func TestAskTellsOfFaults(t *testing.T) {
	folder := t.TempDir()
	if _, err := Ask(t.Context(), folder, agent.ExportRequest{}, io.Discard); err == nil || !strings.Contains(err.Error(), "ask the agent that runs on") {
		t.Errorf("nobody there: %v", err)
	}
	broken := station(1)
	broken.fail = errors.New("the disk is gone")
	stop := serving(t, folder, broken, func(context.Context) error { return errors.New("read-only") })
	done, err := Ask(t.Context(), folder, agent.ExportRequest{}, io.Discard)
	if err == nil || err.Error() != "the disk is gone" {
		t.Errorf("%v", err)
	}
	if notes := strings.Join(done.Notes, "\n"); !strings.Contains(notes, "wait in the agent's memory") {
		t.Errorf("notes %q", notes)
	}
	stop()
}

func TestToFile(t *testing.T) {
	want, _ := recorded(t, station(2))
	for _, name := range []string{"a.csv", "a.csv.gz", "a.csv.zst"} {
		path := filepath.Join(t.TempDir(), name)
		if err := ToFile(path, func(w io.Writer) error { _, err := w.Write(want); return err }); err != nil {
			t.Fatal(err)
		}
		r, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		rows := -1
		for ; err == nil; rows++ {
			_, err = r.Next()
		}
		if !errors.Is(err, io.EOF) || rows != bytes.Count(want, []byte("\n"))-1 {
			t.Errorf("%s: %v after %d rows", name, err, rows)
		}
		if err := r.Close(); err != nil {
			t.Error(err)
		}
		gone := errors.New("gone")
		if err := ToFile(path+".gz", func(io.Writer) error { return gone }); !errors.Is(err, gone) {
			t.Errorf("%v", err)
		}
		if left, _ := filepath.Glob(filepath.Dir(path) + "/*"); len(left) != 1 {
			t.Errorf("left behind: %v", left)
		}
	}
}
