//go:build integration

package integration

import (
	"context"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// plcStation has points at places of testdata/sensors/modbus_server.py: four
// that read, and of each thing that can be wrong one.
const plcStation = `station: quarry
modbus: [{id: plc, url: "tcp://127.0.0.1:%s", every: 200ms, timeout: 400ms}]
glands:
  - id: p1-de
    sensors:
      drip: {source: modbus, connection: plc, table: holding, address: 10, number: u16}
      temp: {source: modbus, connection: plc, table: holding, address: 0, number: i16, scale: 0.1}
      ref: {source: modbus, connection: plc, table: input, address: 4, number: f32, low_word_first: true}
      run: {source: modbus, connection: plc, table: coil, address: 7}
`

const plcFaults = `  - id: p1-nde
    sensors:
      drip: {source: modbus, connection: plc, table: holding, address: 31, number: u16}
      temp: {source: modbus, connection: plc, table: holding, address: 6, number: f32}
      ref: {source: modbus, connection: plc, table: input, address: 20, number: i32, scale: 0.001}
      run: {source: modbus, connection: plc, table: discrete, address: 8, inverted: true}
  - id: p2-de
    sensors:
      temp: {source: modbus, connection: plc, unit: 3, table: holding, address: 0, number: i16}
      run: {source: modbus, connection: plc, unit: 2, table: input, address: 0, number: i16, threshold: 400, hysteresis: 10}
`

// readings are lines of the table, as regular expressions.
func readings(t *testing.T, table string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !regexp.MustCompile(`(?m)^` + w).MatchString(table) {
			t.Errorf("no %s in:\n%s", w, table)
		}
	}
}

func TestPointsOverModbus(t *testing.T) {
	port := fmt.Sprint(freePort(t))
	pymodbus(t, "tcp", port)
	good := fmt.Sprintf(plcStation, port)
	path := write(t, filepath.Join(t.TempDir(), "station.yaml"), good)
	p := launch(t, weepd, "points", "--config", path, "--once", "--within", "30s")
	if err := p.wait(t, patience); err != nil {
		t.Errorf("good points: %v", err)
	}
	source := ` +modbus tcp://127\.0\.0\.1:` + port + ` +`
	readings(t, p.output(),
		`p1-de\.drip`+source+`count 65533 +0 drops.* good `, `p1-de\.temp`+source+`415 +41\.50 °C +good `,
		`p1-de\.ref`+source+`41\.5 +41\.50 °C +good `, `p1-de\.run`+source+`true +turning +good `)

	path = write(t, filepath.Join(t.TempDir(), "faults.yaml"), good+plcFaults)
	p = launch(t, weepd, "points", "--config", path, "--once", "--within", "3s")
	if err := p.wait(t, patience); err == nil || p.cmd.ProcessState.ExitCode() != 1 {
		t.Errorf("points that cannot be read: %v, want exit 1", err)
	}
	readings(t, p.output(),
		`p1-de\.temp`+source+`415 +41\.50 °C +good `,
		`p1-nde\.drip`+source+`- +0 drops +fault .*\n +why: exception 2`,
		`p1-nde\.temp`+source+`NaN +- +fault .*\n +why: the device gives NaN`,
		`p1-nde\.ref`+source+`-70000 +-70\.00 °C +good `, `p1-nde\.run`+source+`false +turning +good `,
		`p2-de\.temp`+source+`- +- +no-answer .*\n +why: no answer within 400ms`, `p2-de\.run`+source+`415 +turning +good `,
		`3 of 10 points cannot be read`)
}

// converse starts weepd with a keyboard.
func converse(t *testing.T, args ...string) (p *process, keys io.Writer) {
	t.Helper()
	p = &process{name: "weepd", cmd: exec.CommandContext(context.Background(), weepd, args...), done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p, p
	keyboard, err := p.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.done)
	}()
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill()
		<-p.done
		if t.Failed() {
			t.Logf("output of weepd:\n%s", p.output())
		}
	})
	return p, keyboard
}

func TestCountAlongOverModbus(t *testing.T) {
	port := fmt.Sprint(freePort(t))
	server := pymodbus(t, "tcp", port)
	path := write(t, filepath.Join(t.TempDir(), "station.yaml"), fmt.Sprintf(plcStation, port))
	p, keys := converse(t, "points", "--config", path, "--count", "p1-de")
	enter := func(line string) {
		t.Helper()
		if _, err := io.WriteString(keys, line+"\n"); err != nil {
			t.Fatal(err)
		}
	}
	asked := 0
	eventually(t, "the count begins", func() bool {
		if n := strings.Count(p.output(), "Enter starts"); n > asked {
			asked = n
			enter("")
		}
		return strings.Contains(p.output(), "Counting. ")
	})
	server.signal(t, syscall.SIGUSR1) // 40 drops, over the end of 16 bits
	p.saysEventually(t, "\n40 drops in ")
	enter("")
	enter("40")
	p.saysEventually(t, "you counted 40, ")
	p.saysEventually(t, "; the sensor 40, ")
	p.saysEventually(t, "\nAGREES: within the exact 95 % Poisson limits of your count, 28.6 to 54.5 drops")
	enter("q")
	if err := p.wait(t, patience); err != nil {
		t.Errorf("exit: %v", err)
	}
}
