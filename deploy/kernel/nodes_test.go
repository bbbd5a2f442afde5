//go:build kernel

package kernel

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"weepd/rules/reading"
	"weepd/sensors/counter"
	"weepd/sensors/file"
)

// stub finds the bus of i2c-stub.
func stub(t *testing.T) int {
	t.Helper()
	names, err := filepath.Glob("/sys/bus/i2c/devices/i2c-*/name")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		var bus int
		if _, err := fmt.Sscanf(name, "/sys/bus/i2c/devices/i2c-%d/name", &bus); err == nil && content(t, name) == "SMBus stub driver" {
			return bus
		}
	}
	t.Fatal("i2c-stub has no bus")
	return 0
}

// setWord writes a register of the simulated chip at 48 hex, by SMBus as
// include/uapi/linux/i2c.h and i2c-dev.h say.
func setWord(t *testing.T, bus int, register byte, word uint16) {
	t.Helper()
	const slaveForce, smbus, wordData, address = 0x0706, 0x0720, 3, 0x48
	f, err := os.OpenFile(fmt.Sprintf("/dev/i2c-%d", bus), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // nothing is left to be written
	if err := unix.IoctlSetInt(int(f.Fd()), slaveForce, address); err != nil {
		t.Fatal(err)
	}
	request := struct {
		write, command byte
		size           uint32
		data           unsafe.Pointer
	}{0, register, wordData, unsafe.Pointer(&word)}
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, f.Fd(), smbus, uintptr(unsafe.Pointer(&request))); errno != 0 {
		t.Fatal(errno)
	}
}

// The kernel's lm75 driver over a simulated bus: 25.5 °C is 1980 hex, sent with
// the bytes swapped. An unbound driver is no answer, a bound one answers again.
func TestHwmonTemperature(t *testing.T) {
	steady, _ := clocks()
	bus := stub(t)
	setWord(t, bus, 0, 0x8019)
	put(t, fmt.Sprintf("/sys/bus/i2c/devices/i2c-%d/new_device", bus), "lm75 0x48")
	s, err := file.New(file.Config{
		Path:  fmt.Sprintf("/sys/bus/i2c/devices/%d-0048/hwmon/hwmon*/temp1_input", bus),
		Every: 200 * time.Millisecond,
	}, reading.Point{Gland: "a", Kind: reading.Temp}, steady)
	if err != nil {
		t.Fatal(err)
	}
	r := run(t, s, nil)
	is := func(v float64, q reading.Quality) func() bool {
		return func() bool { return len(r.all()) > 0 && r.last().Quality == q && r.last().Value == v }
	}
	until(t, "it is 25.5 °C", is(25.5, reading.Good))
	setWord(t, bus, 0, 0x00e7)
	until(t, "it is -25 °C", is(-25, reading.Good))
	device := fmt.Sprintf("%d-0048", bus)
	put(t, "/sys/bus/i2c/drivers/lm75/unbind", device)
	until(t, "it does not answer", is(0, reading.NoAnswer))
	put(t, "/sys/bus/i2c/drivers/lm75/bind", device)
	until(t, "it is -25 °C again", is(-25, reading.Good))
	t.Logf("measured: 25.5 and -25 °C read, fault seen and gone, %d readings", len(r.all()))
}

// giveLine loads the module that gives interrupt-cnt the line COUNT.
func giveLine(t *testing.T) {
	t.Helper()
	c, err := os.ReadFile("/sys/kernel/config/gpio-sim/board/dev_name")
	if err != nil {
		t.Fatal(err)
	}
	m, err := os.Open("/modules/weepd_count.ko")
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close() //nolint:errcheck // it was only read
	args := fmt.Sprintf("chip=%s-node0 line=5", strings.TrimSpace(string(c)))
	if err := unix.FinitModule(int(m.Fd()), args, 0); err != nil {
		t.Fatal(err)
	}
}

// The kernel's interrupt-cnt driver counts a simulated line.
func TestCounterNode(t *testing.T) {
	const node = "/sys/bus/counter/devices/counter0/count0"
	steady, _ := clocks()
	giveLine(t)
	put(t, pullOf(t, "COUNT"), "pull-up") // it counts rising edges, and a new line is low
	put(t, node+"/enable", "1")
	s, err := counter.New(counter.Config{Path: node, Every: 100 * time.Millisecond}, "a", steady)
	if err != nil {
		t.Fatal(err)
	}
	r := run(t, s, nil)
	settled()
	burning(t, busyProcesses)
	toggled(t, pulses{"COUNT", 300, 900, time.Millisecond})()
	until(t, "900 drops are told", func() bool { return r.total() == 900 })
	put(t, node+"/count", "18446744073709551610") // 6 before its end
	until(t, "a jump is no drops", func() bool { return r.count(reading.Storm) == 1 })
	toggled(t, pulses{"COUNT", 100, 10, time.Millisecond})()
	until(t, "10 more are told across the end", func() bool { return r.total() == 910 })
	put(t, node+"/count", "1000000")
	until(t, "a second jump", func() bool { return r.count(reading.Storm) == 2 })
	put(t, node+"/count", "2")
	until(t, "set anew is a loss", func() bool { return r.count(reading.Lost) == 1 })
	toggled(t, pulses{"COUNT", 100, 5, time.Millisecond})()
	until(t, "5 more are told", func() bool { return r.total() == 915 })
	t.Logf("measured: 915 of 915 pulses counted; end, jump and reset told apart")
}
