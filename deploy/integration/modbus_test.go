//go:build integration

package integration

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/modbus"
)

// pymodbus starts another's server of the protocol: Debian's python3-pymodbus.
func pymodbus(t *testing.T, way, where string) *process {
	t.Helper()
	// Debian's own interpreter has Debian's packages.
	p := launch(t, "/usr/bin/python3", filepath.Join("..", "..", "testdata", "sensors", "modbus_server.py"), way, where)
	p.saysEventually(t, "serving")
	return p
}

// plc is what is read of the server: see testdata/sensors/modbus_server.py.
func plc(url string) modbus.Config {
	at := func(gland string, k reading.Kind, table modbus.Table, address uint16, n modbus.Number) modbus.Register {
		return modbus.Register{Point: reading.Point{Gland: gland, Kind: k}, Unit: 1, Table: table, Address: address, Number: n}
	}
	tenths := at("tenths", reading.Temp, modbus.Holding, 0, modbus.I16)
	tenths.Scale = 0.1
	low := at("float-low", reading.Temp, modbus.Holding, 4, modbus.F32)
	low.LowWordFirst = true
	long := at("long", reading.Temp, modbus.Input, 20, modbus.I32)
	long.Scale = 0.001
	longLow := at("long-low", reading.Temp, modbus.Input, 22, modbus.I32)
	longLow.Scale, longLow.LowWordFirst = 0.001, true
	second, missing := at("second", reading.Ref, modbus.Holding, 0, modbus.I16), at("missing", reading.Ref, modbus.Holding, 0, modbus.I16)
	second.Unit, missing.Unit = 2, 3
	return modbus.Config{URL: url, Parity: "none", StopBits: 1, Every: 200 * time.Millisecond, Timeout: 400 * time.Millisecond, Registers: []modbus.Register{
		tenths, at("float", reading.Temp, modbus.Holding, 2, modbus.F32), low, at("nan", reading.Temp, modbus.Holding, 6, modbus.F32),
		at("drops", reading.Drip, modbus.Holding, 10, modbus.U16), long, longLow,
		at("coil", reading.Run, modbus.Coil, 7, 0), at("input", reading.Run, modbus.Discrete, 8, 0), second, missing,
		at("beyond", reading.Temp, modbus.Holding, 31, modbus.U16),
	}}
}

// seen is what a source said so far.
type seen struct {
	mu     sync.Mutex
	latest map[string]string
	drops  float64
	bad    []string // drip readings
}

func (s *seen) take(r reading.Reading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.latest[r.Point.Gland] = fmt.Sprintf("%.6g %s", r.Value, r.Quality)
	if r.Point.Kind == reading.Drip && r.Quality.OK() {
		s.drops += r.Value
	} else if r.Point.Kind == reading.Drip {
		s.bad = append(s.bad, r.Quality.String())
	}
}

func (s *seen) has(want map[string]string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for gland, w := range want {
		if s.latest[gland] != w {
			return false
		}
	}
	return true
}

func (s *seen) counted() float64 { s.mu.Lock(); defer s.mu.Unlock(); return s.drops }

// readPLC checks all numbers, the counter over its end, and the server's end.
func readPLC(t *testing.T, url string, server *process) {
	t.Helper()
	began := time.Now()
	source, err := modbus.New(plc(url), func() time.Duration { return time.Since(began) })
	if err != nil {
		t.Fatal(err)
	}
	got := &seen{latest: make(map[string]string)}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- source.Run(ctx, got.take) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if t.Failed() {
			t.Logf("latest %v, drops bad %v, notes %+v", got.latest, got.bad, source.Notes())
		}
	}()
	eventually(t, "all numbers", func() bool {
		return got.has(map[string]string{
			"tenths": "41.5 good", "float": "41.5 good", "float-low": "41.5 good", "nan": "0 fault",
			"long": "-70 good", "long-low": "-70 good", "coil": "1 good", "input": "0 good",
			"second": "415 good", "missing": "0 no-answer", "beyond": "0 fault", "drops": "0 good",
		})
	})
	for _, want := range []string{"missing: no answer within 400ms", "beyond: exception 2", "nan: the device gives NaN"} {
		eventually(t, want, func() bool { return strings.Contains(causes(source), want) })
	}
	server.signal(t, syscall.SIGUSR1)
	server.saysEventually(t, "counted 40")
	eventually(t, "40 drops over the end of 16 bits", func() bool { return got.counted() >= 40 })
	server.signal(t, syscall.SIGKILL)
	eventually(t, "no answer", func() bool {
		return got.has(map[string]string{"tenths": "0 no-answer", "second": "0 no-answer", "coil": "0 no-answer"})
	})
	if n := got.counted(); n != 40 {
		t.Errorf("%g drops counted, want 40", n)
	}
}

func causes(source *modbus.Source) string {
	var all []string
	for _, n := range source.Notes() {
		all = append(all, n.Point.Gland+": "+n.Cause)
	}
	return strings.Join(all, "\n")
}

func TestModbusTCP(t *testing.T) {
	port := fmt.Sprint(freePort(t))
	readPLC(t, "tcp://127.0.0.1:"+port, pymodbus(t, "tcp", port))
}

func TestModbusRTU(t *testing.T) {
	ours, theirs := serialLine(t)
	readPLC(t, "rtu://"+ours, pymodbus(t, "rtu", theirs))
}
