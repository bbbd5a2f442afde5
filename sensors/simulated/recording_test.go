package simulated

import (
	"bytes"
	"compress/gzip"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "rewrite the recording that the simulation made")

const recorded = "../../testdata/recordings/quarry.csv.gz"

// render writes readings as a recording. It is not the recording package's
// Writer, so that reader and format are checked from two sides.
func render(t *testing.T) []byte {
	t.Helper()
	s := DemoStation()
	s.Past = 10 * time.Minute
	start := time.Date(2026, 3, 1, 8, 10, 0, 0, time.UTC)
	sim, err := NewSim(s, time.Duration(start.UnixNano()))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	fmt.Fprintln(&b, "time,point,value")
	for end := time.Duration(start.Add(3 * time.Minute).UnixNano()); ; {
		r := sim.Next()
		if r.At >= end {
			return b.Bytes()
		}
		fmt.Fprintf(&b, "%s,%s,%g\n", time.Unix(0, int64(r.At)).UTC().Format("2006-01-02T15:04:05.000000000Z"), r.Point, r.Value)
	}
}

// A change of the simulation shows here: the demonstration would change too.
func TestRecordingIsWhatTheSimulationMakes(t *testing.T) {
	want := render(t)
	if *update {
		var b bytes.Buffer
		w := gzip.NewWriter(&b)
		if _, err := w.Write(want); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(recorded, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	packed, err := os.ReadFile(recorded)
	if err != nil {
		t.Fatal(err)
	}
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	have, wanted := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	if len(have) != len(wanted) {
		t.Fatalf("%s has %d lines, the simulation makes %d; if that is meant, run with -update", recorded, len(have), len(wanted))
	}
	for i, line := range have {
		if !sameRow(line, wanted[i]) {
			t.Fatalf("%s:%d: %s, the simulation makes %s; if that is meant, run with -update", recorded, i+1, line, wanted[i])
		}
	}
}

// sameRow allows what processors differ in, which fuse multiplications and
// additions or not: a microsecond, and one step of a temperature.
func sameRow(a, b string) bool {
	if a == b {
		return true
	}
	f, g := strings.Split(a, ","), strings.Split(b, ",")
	if len(f) != 3 || len(g) != 3 || f[1] != g[1] {
		return false
	}
	t, err1 := time.Parse(time.RFC3339Nano, f[0])
	u, err2 := time.Parse(time.RFC3339Nano, g[0])
	v, err3 := strconv.ParseFloat(f[2], 64)
	w, err4 := strconv.ParseFloat(g[2], 64)
	return errors.Join(err1, err2, err3, err4) == nil && t.Sub(u).Abs() <= time.Microsecond && math.Abs(v-w) <= 1.0/tempStepsPerC
}
