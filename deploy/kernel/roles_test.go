//go:build kernel

package kernel

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The test binary is also the processes beside the agent: what toggles a line,
// and what keeps the processor busy.
const role = "WEEPD_KERNEL_ROLE"

func TestMain(m *testing.M) {
	switch os.Getenv(role) {
	case "toggle":
		if err := toggleRole(os.Args[1:]); err != nil {
			fmt.Fprintln(os.Stderr, "toggle:", err)
			os.Exit(1)
		}
	case "burn":
		for n := 0; ; n++ {
			runtime.KeepAlive(n)
		}
	default:
		os.Exit(m.Run())
	}
}

func started(t *testing.T, as string, args ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("/proc/self/exe", args...) //nolint:noctx // ended by hand, also at a stop
	cmd.Env = append(os.Environ(), role+"="+as)
	cmd.Stderr = os.Stderr
	return cmd
}

// burning keeps the processor busy with n processes until the test ends.
func burning(t *testing.T, n int) {
	t.Helper()
	for range n {
		cmd := started(t, "burn")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := cmd.Process.Kill(); err != nil {
				t.Error(err)
			}
			_ = cmd.Wait() // killed: that is its error
		})
	}
}

// pulses are what a line is made to do: pulled down and up again count times,
// perSecond (0: as fast as it goes, for a second), down for low.
type pulses struct {
	line      string
	perSecond int
	count     int
	low       time.Duration
}

// span is between which two looks at CLOCK_MONOTONIC the line was pulled down.
type span struct{ before, after time.Duration }

// toggled runs the pulses in a process of its own and gives when each was.
func toggled(t *testing.T, p pulses) func() []span {
	t.Helper()
	cmd := started(t, "toggle", pullOf(t, p.line), strconv.Itoa(p.perSecond), strconv.Itoa(p.count), p.low.String())
	var out bytes.Buffer
	cmd.Stdout = &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return func() []span {
		t.Helper()
		if err := cmd.Wait(); err != nil {
			t.Fatal(err)
		}
		spans := make([]span, out.Len()/16)
		for i := range spans {
			b := out.Bytes()[i*16:]
			spans[i] = span{time.Duration(binary.NativeEndian.Uint64(b)), time.Duration(binary.NativeEndian.Uint64(b[8:]))}
		}
		return spans
	}
}

// toggleRole is the process: args are the file to write, per second, count, low.
func toggleRole(args []string) error {
	perSecond, err := strconv.Atoi(args[1])
	if err != nil {
		return err
	}
	count, err := strconv.Atoi(args[2])
	if err != nil {
		return err
	}
	low, err := time.ParseDuration(args[3])
	if err != nil {
		return err
	}
	pull, err := os.OpenFile(args[0], os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	runtime.LockOSThread()
	debug.SetGCPercent(-1)
	if perSecond == 0 {
		return flood(pull)
	}
	// It must keep its times however busy the machine is.
	if err := unix.SchedSetAttr(0, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: 1 /* SCHED_FIFO */, Priority: 10}, 0); err != nil {
		return err
	}
	return regular(pull, time.Second/time.Duration(perSecond), count, low, os.Stdout)
}

func regular(pull *os.File, period time.Duration, count int, low time.Duration, out io.Writer) error {
	w := bufio.NewWriterSize(out, 16*count+16)
	if err := write(pull, "pull-up"); err != nil { // a new line is low
		return err
	}
	next := monotonic() + 200*time.Millisecond
	for range count {
		sleepUntil(next)
		before := monotonic()
		if err := write(pull, "pull-down"); err != nil {
			return err
		}
		after := monotonic()
		sleepUntil(after + low)
		if err := write(pull, "pull-up"); err != nil {
			return err
		}
		if err := binary.Write(w, binary.NativeEndian, []int64{int64(before), int64(after)}); err != nil {
			return err
		}
		// Who was held up does not make up for it: that would be a storm.
		next = max(next, before) + period
	}
	return w.Flush()
}

// flood pulses as fast as it goes for a second and tells how often.
func flood(pull *os.File) error {
	n := 0
	for end := monotonic() + time.Second; monotonic() < end; n++ {
		if err := write(pull, "pull-down"); err != nil {
			return err
		}
		if err := write(pull, "pull-up"); err != nil {
			return err
		}
	}
	return binary.Write(os.Stdout, binary.NativeEndian, []int64{int64(n), 0})
}

func write(f *os.File, s string) error {
	_, err := f.WriteAt([]byte(s), 0)
	return err
}

func monotonic() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		panic(err) // every Linux has it
	}
	return time.Duration(t.Nano())
}

func sleepUntil(at time.Duration) {
	t := unix.NsecToTimespec(int64(at))
	for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &t, nil) == unix.EINTR { //nolint:errorlint // as the kernel gives it
	}
}

// pullOf finds the file that pulls a line of a simulated chip.
func pullOf(t *testing.T, line string) string {
	t.Helper()
	const configs = "/sys/kernel/config/gpio-sim"
	names, err := filepath.Glob(configs + "/*/bank0/line*/name")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if content(t, name) != line {
			continue
		}
		bank := filepath.Dir(filepath.Dir(name))
		number := strings.TrimPrefix(filepath.Base(filepath.Dir(name)), "line")
		return filepath.Join("/sys/devices/platform", content(t, filepath.Dir(bank)+"/dev_name"), content(t, bank+"/chip_name"),
			"sim_gpio"+number, "pull")
	}
	t.Fatalf("no simulated line %s", line)
	return ""
}

func content(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}

// put writes to a file of the kernel's.
func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0); err != nil {
		t.Fatal(err)
	}
}
