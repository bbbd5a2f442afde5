package file

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

var (
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
	run  = reading.Point{Gland: "a", Kind: reading.Run}
)

// once runs a source until its first reading.
func once(t *testing.T, cfg Config, p reading.Point) reading.Reading {
	t.Helper()
	defer goleak.VerifyNone(t)
	s, err := New(cfg, p, func() time.Duration { return 7 * time.Second })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var got []reading.Reading
	if err := s.Run(ctx, func(r reading.Reading) { got = append(got, r); cancel() }); err != nil || len(got) != 1 {
		t.Fatalf("Run = %v with %v", err, got)
	}
	return got[0]
}

// The tree is laid out as the kernel's Documentation/hwmon/sysfs-interface and
// Documentation/w1/slaves/w1_therm describe (m°C), and as
// Documentation/ABI/testing/sysfs-bus-iio (value = (raw + offset) * scale).
// The values 25062 and -5500 are what w1_therm gave on an emulated bus.
//
// What a name means is found by itself; scale and offset from the config win.
func TestKernelNodes(t *testing.T) {
	const sys = "testdata/sys/"
	const w1 = "bus/w1/devices/28-000005e2fdc3/"
	none := Config{}
	milli := Config{Scale: 0.001}
	cases := []struct {
		path string
		cfg  Config
		want string
	}{
		{"class/hwmon/hwmon0/temp1_input", none, "41.5 good"},
		{"class/hwmon/hwmon0/temp1_input", milli, "41.5 good"},
		{"class/hwmon/hwmon0/temp1_input", Config{Scale: 1}, "41500 good"},
		{"class/hwmon/hwmon0/temp1_input", Config{Offset: -0.5}, "41 good"},
		{"class/hwmon/hwmon*/temp1_input", none, "41.5 good"},
		{"class/hwmon/hwmon*/temp[12]_input", none, "0 fault"},
		{"class/hwmon/hwmon*/temp9_input", none, "0 no-answer"},
		{"class/hwmon/hwmon[/temp9_input", none, "0 fault"},
		{"class/hwmon/hwmon0/temp2_input", none, "-5.5 good"},
		{"class/hwmon/hwmon0/temp3_input", none, "0 fault"}, // temp3_fault is 1
		{"class/hwmon/hwmon0/temp9_input", none, "0 no-answer"},
		{"class/hwmon/hwmon0", none, "0 fault"},
		{"class/hwmon/hwmon*/in?_input", none, "0 fault"}, // mV
		{"class/hwmon/hwmon0/in1_input", Config{Scale: 0.1, Offset: -50}, "70 good"},
		{"class/thermal/thermal_zone0/temp", none, "52.3 good"},
		{w1 + "temperature", none, "25.062 good"},
		{w1 + "temperature", milli, "25.062 good"},
		{w1 + "temperature_bad_crc", milli, "0 garbled"},
		{w1 + "w1_slave", none, "25.062 good"},
		{w1 + "w1_slave", milli, "25.062 good"},
		{"bus/w1/devices/28-000005e2fdc4/w1_slave", none, "0 garbled"}, // crc NO
		{"bus/iio/devices/iio_device0/in_temp_raw", Config{Scale: 0.0625, Offset: -46.85}, "42.0875 good"},
		{"bus/iio/devices/iio_device0/in_temp_raw", none, "42.0875 good"}, // (1423 - 749.6) * 62.5 m°C
		{"bus/iio/devices/iio_device0/in_temp_raw", Config{Offset: 0.5}, "42.5875 good"},
		{"bus/iio/devices/iio_device0/in_temp_ambient_raw", none, "21 good"}, // own scale, shared offset
		{"bus/iio/devices/iio_device1/in_temp0_raw", none, "19.5 good"},      // neither
		{"bus/iio/devices/iio_device1/in_temp_input", none, "18.25 good"},
		{"bus/iio/devices/iio_device2/in_temp_raw", none, "0 garbled"}, // its scale is empty
	}
	for _, c := range cases {
		t.Run(c.path, func(t *testing.T) {
			c.cfg.Path = sys + c.path
			r := once(t, c.cfg, temp)
			if got := fmt.Sprintf("%.6g %s", r.Value, r.Quality); got != c.want || r.At != 7*time.Second || r.Point != temp {
				t.Errorf("got %s at %s, want %s", got, r.At, c.want)
			}
		})
	}
}

func TestContents(t *testing.T) {
	cases := []struct {
		content string
		point   reading.Point
		want    string
	}{
		{"21.5\n", temp, "21.5 good"},
		{"  21.5  \r\n", temp, "21.5 good"},
		{"0\n", temp, "0 good"},
		{"", temp, "0 garbled"},
		{"\n", temp, "0 garbled"},
		{"warm\n", temp, "0 garbled"},
		{"21,5\n", temp, "0 garbled"},
		{"21.5 C\n", temp, "0 garbled"},
		{"21\n22\n", temp, "0 garbled"},
		{strings.Repeat("1", longest+1), temp, "0 garbled"},
		{"\x00\x00\x00\x00", temp, "0 garbled"},
		{"NaN\n", temp, "0 fault"},
		{"inf\n", temp, "0 fault"},
		{"1e999\n", temp, "0 fault"},
		{"-273.15\n", temp, "-273.15 good"},
		{"-273.2\n", temp, "0 out-of-range"},
		{"1\n", run, "1 good"},
		{"0\n", run, "0 good"},
		{"2\n", run, "0 out-of-range"},
		{"0.5\n", run, "0 out-of-range"},
		{"on\n", run, "0 garbled"},
	}
	for _, c := range cases {
		t.Run(c.content, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "value")
			if err := os.WriteFile(path, []byte(c.content), 0o600); err != nil {
				t.Fatal(err)
			}
			r := once(t, Config{Path: path}, c.point)
			if got := fmt.Sprintf("%g %s", r.Value, r.Quality); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestReadErrorsAreQualities(t *testing.T) {
	cases := map[error]reading.Quality{
		&fs.PathError{Op: "read", Err: syscall.EIO}:    reading.NoAnswer,
		&fs.PathError{Op: "open", Err: syscall.ENODEV}: reading.NoAnswer,
		&fs.PathError{Op: "open", Err: syscall.EACCES}: reading.Fault,
		io.ErrUnexpectedEOF:                            reading.Garbled,
		errors.New("anything else"):                    reading.Fault,
	}
	s, err := New(Config{Path: "x"}, temp, func() time.Duration { return 0 })
	if err != nil {
		t.Fatal(err)
	}
	for err, want := range cases {
		if f := s.finding(measured{21, 21}, err); f.Quality != want || f.Value != 0 || f.Raw != "" || f.Cause == "" {
			t.Errorf("%v: got %+v, want %s", err, f, want)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	good := Config{Path: "x"}
	bent := func(bend func(*Config)) Config { c := good; bend(&c); return c }
	zero := 0.0
	cases := []struct {
		cfg   Config
		point reading.Point
		want  string
	}{
		{Config{}, temp, "no path"},
		{good, reading.Point{Gland: "a", Kind: reading.Drip}, "count drops with gpio"},
		{good, reading.Point{Gland: "a", Kind: reading.Kinds}, "temp, ref or run"},
		{bent(func(c *Config) { c.Scale = 1 / zero }), temp, "finite"},
		{bent(func(c *Config) { c.Offset = zero / zero }), temp, "finite"},
		{bent(func(c *Config) { c.Every = time.Millisecond }), temp, "every 1ms; want 100ms to 1m0s"},
		{bent(func(c *Config) { c.Every = time.Hour }), temp, "every 1h0m0s"},
		{bent(func(c *Config) { c.Timeout = 11 * time.Second }), temp, "timeout 11s"},
		{bent(func(c *Config) { c.Timeout = -1 }), temp, "timeout -1ns"},
		{Config{Path: "/sys/bus/iio/devices/iio:device0/in_voltage0_raw"}, temp, "no temperature; give scale and offset"},
		{Config{Path: "/sys/class/hwmon/hwmon0/curr1_input"}, temp, "this hwmon node is no temperature"},
	}
	for _, c := range cases {
		if _, err := New(c.cfg, c.point, nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("New(%+v, %s) = %v, want %q", c.cfg, c.point, err, c.want)
		}
	}
}

// device is a file whose reads fail or hang on demand. Hanging is a wait on a
// channel: a real one, in the kernel, would stop fake time.
type device struct {
	mu    sync.Mutex
	hangs bool
	fails error
	freed chan struct{}
	broke func(*device)
	reads int // going on
	most  int
}

func (d *device) read() (measured, error) {
	d.mu.Lock()
	d.reads++
	d.most = max(d.most, d.reads)
	hangs, fails, freed := d.hangs, d.fails, d.freed
	d.mu.Unlock()
	defer func() { d.mu.Lock(); d.reads--; d.mu.Unlock() }()
	if hangs {
		<-freed
		return measured{99, 99}, nil // old by now
	}
	return measured{25062, 25.062}, fails
}

func (d *device) Break() { d.mu.Lock(); defer d.mu.Unlock(); d.broke(d) }

func (d *device) Mend() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.hangs, d.fails = false, nil
	close(d.freed)
	d.freed = make(chan struct{})
}

func newWith(t testing.TB, clock sensors.Clock, d *device) *Source {
	t.Helper()
	s, err := New(Config{Path: "w1"}, temp, clock)
	if err != nil {
		t.Fatal(err)
	}
	s.read = d.read
	return s
}

func TestConforms(t *testing.T) {
	for name, broke := range map[string]func(*device){
		"fails": func(d *device) { d.fails = syscall.EIO },
		"hangs": func(d *device) { d.hangs = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: defaultEvery + defaultTimeout,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					d := &device{broke: broke, freed: make(chan struct{})}
					return newWith(t, clock, d), d
				},
			})
		})
	}
}

// A hanging read is one goroutine, however long it lasts, and its late answer
// is never taken for a fresh one.
func TestHangingReadIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		d := &device{hangs: true, freed: make(chan struct{})}
		s := newWith(t, func() time.Duration { return time.Since(begun) }, d)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
		defer cancel()
		time.AfterFunc(5*time.Minute, d.Mend)
		var bad, good int
		err := s.Run(ctx, func(r reading.Reading) {
			switch {
			case r.Quality == reading.NoAnswer && r.At < 5*time.Minute+defaultTimeout:
				bad++
			case r.Quality == reading.Good && r.Value == 25.062 && r.At >= 5*time.Minute:
				good++
			default:
				t.Errorf("unexpected %v", r)
			}
		})
		if err != nil || bad < 29 || good < 29 || d.most != 1 {
			t.Errorf("Run = %v, %d bad, %d good, %d reads at a time", err, bad, good, d.most)
		}
	})
}

// A named pipe without a writer hangs in the kernel's open, for real.
func TestRealHangDoesNotHoldUpStop(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := New(Config{Path: path, Timeout: 50 * time.Millisecond}, temp, func() time.Duration { return 0 })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var got []reading.Reading
	if err := s.Run(ctx, func(r reading.Reading) { got = append(got, r); cancel() }); err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got[0].Quality != reading.NoAnswer {
		t.Errorf("got %v, want one no-answer", got)
	}
	// Let the kernel go: the goroutine must end now.
	w, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	goleak.VerifyNone(t)
}

func TestNotesShowTheFilesNumberAndWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "temp")
	for _, c := range []struct{ text, raw, cause string }{
		{"41500", "41500", ""},
		{"-300000", "-300000", "below absolute zero"},
		{"warm", "", path},
		{"", "", path},
	} {
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := New(Config{Path: path, Scale: 0.001}, temp, func() time.Duration { return 0 })
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		if err := s.Run(ctx, func(reading.Reading) { cancel() }); err != nil {
			t.Error(err)
		}
		note := s.Notes()[0]
		if note.Point != temp || note.Raw != c.raw || !strings.Contains(note.Cause, c.cause) || (note.Cause == "") != (c.cause == "") {
			t.Errorf("%q: note %+v", c.text, note)
		}
	}
}

// A station reads hundreds of files each ten seconds for years: what a name means
// is not worked out again each time. Patterns compiled anew are some 300.
func TestReadingAllocatesLittle(t *testing.T) {
	for _, path := range []string{"testdata/sys/class/hwmon/hwmon0/temp1_input", "testdata/sys/bus/iio/devices/iio_device0/in_temp_raw"} {
		s, err := New(Config{Path: path}, temp, func() time.Duration { return 0 })
		if err != nil {
			t.Fatal(err)
		}
		const most = 60
		if got := testing.AllocsPerRun(20, func() { _, err = s.read() }); got > most || err != nil {
			t.Errorf("%s: %g allocations, error %v; want at most %d", path, got, err, most)
		}
	}
}
