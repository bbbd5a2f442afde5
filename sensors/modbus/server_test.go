package modbus

import (
	"context"
	"fmt"
	"io"
	"log"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	wire "github.com/simonvetter/modbus"
	"go.uber.org/goleak"

	"weepd/rules/reading"
)

// handler serves the library's own server: unit 1 answers, unit 9 takes long.
type handler struct {
	mu    sync.Mutex
	drops uint16
	slow  chan struct{}
}

func (h *handler) HandleCoils(r *wire.CoilsRequest) ([]bool, error) {
	return h.flags(r.Addr, r.Quantity)
}

func (h *handler) HandleDiscreteInputs(r *wire.DiscreteInputsRequest) ([]bool, error) {
	return h.flags(r.Addr, r.Quantity)
}

func (h *handler) flags(addr, n uint16) (f []bool, err error) {
	for i := range n {
		f = append(f, (addr+i)%2 == 1)
	}
	return f, nil
}

func (h *handler) HandleHoldingRegisters(r *wire.HoldingRegistersRequest) ([]uint16, error) {
	return h.registers(r.UnitId, r.Addr, r.Quantity)
}

func (h *handler) HandleInputRegisters(r *wire.InputRegistersRequest) ([]uint16, error) {
	return h.registers(r.UnitId, r.Addr, r.Quantity)
}

func (h *handler) registers(unit uint8, addr, n uint16) (v []uint16, err error) {
	switch {
	case unit == 9:
		<-h.slow
		return nil, wire.ErrServerDeviceFailure
	case addr >= 100:
		return nil, wire.ErrIllegalDataAddress
	}
	all := map[uint16]uint16{0: 415, 2: 0x4226, 3: 0, 4: 0, 5: 0x4226, 8: 0xFFFE}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.drops++
	all[10] = h.drops
	for i := range n {
		v = append(v, all[addr+i])
	}
	return v, nil
}

func freeAddress(t *testing.T) string {
	t.Helper()
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String()
}

func serve(t *testing.T, address string, h *handler) *wire.ModbusServer {
	t.Helper()
	s, err := wire.NewServer(&wire.ServerConfiguration{URL: "tcp://" + address, Logger: log.New(io.Discard, "", 0)}, h)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	return s
}

func point(gland string, k reading.Kind) reading.Point { return reading.Point{Gland: gland, Kind: k} }

// The library's own server over a real socket: tables, numbers, word orders, a
// slow unit beside, the server gone and back.
func TestOverTCP(t *testing.T) {
	defer goleak.VerifyNone(t)
	address, h := freeAddress(t), &handler{slow: make(chan struct{})}
	server := serve(t, address, h)
	r := func(gland string, k reading.Kind, table Table, addr uint16, n Number) Register {
		return Register{Point: point(gland, k), Unit: 1, Table: table, Address: addr, Number: n}
	}
	low, scaled, slow, missing := r("c", reading.Temp, Input, 4, F32), r("a", reading.Temp, Holding, 0, I16), r("f", reading.Temp, Holding, 0, I16), r("g", reading.Temp, Holding, 100, I16)
	low.LowWordFirst, scaled.Scale, slow.Unit = true, 0.1, 9
	cfg := Config{URL: "tcp://" + address, Every: 100 * time.Millisecond, Timeout: 250 * time.Millisecond, Registers: []Register{
		scaled, r("b", reading.Temp, Holding, 2, F32), low, r("d", reading.Ref, Holding, 8, I16),
		r("a", reading.Drip, Holding, 10, U16), r("a", reading.Run, Coil, 7, 0), r("b", reading.Run, Discrete, 6, 0), slow, missing,
	}}
	began := time.Now()
	s, err := New(cfg, func() time.Duration { return time.Since(began) })
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	latest := make(map[string]string)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- s.Run(ctx, func(r reading.Reading) {
			mu.Lock()
			defer mu.Unlock()
			latest[r.Point.String()] = fmt.Sprintf("%.6g %s", r.Value, r.Quality)
		})
	}()
	until := func(what string, want map[string]string) {
		t.Helper()
		var got map[string]string
		for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			mu.Lock()
			got, all := make(map[string]string), true
			for p, w := range want {
				got[p] = latest[p]
				all = all && latest[p] == w
			}
			mu.Unlock()
			if all {
				return
			}
		}
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
	good := map[string]string{
		"a.temp": "41.5 good", "b.temp": "41.5 good", "c.temp": "41.5 good", "d.ref": "-2 good",
		"a.run": "1 good", "b.run": "0 good", "f.temp": "0 no-answer", "g.temp": "0 fault", "a.drip": "2 good",
	}
	until("at first", good)
	if err := server.Stop(); err != nil {
		t.Error(err)
	}
	until("without a server", map[string]string{"a.temp": "0 no-answer", "d.ref": "0 no-answer", "g.temp": "0 no-answer"})
	var refused bool
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end) && !refused; time.Sleep(20 * time.Millisecond) {
		refused = strings.Contains(s.Notes()[0].Cause, "connection refused")
	}
	if !refused {
		t.Errorf("notes %+v", s.Notes())
	}
	server = serve(t, address, h)
	delete(good, "a.drip")
	until("again", good)
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	close(h.slow)
	if err := server.Stop(); err != nil {
		t.Error(err)
	}
}
