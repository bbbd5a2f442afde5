package modbus

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

func TestNeighboursShareARequest(t *testing.T) {
	at := func(table Table, address uint16, n Number, unit uint8) Register {
		return Register{Table: table, Address: address, Number: n, Unit: unit}
	}
	registers := []Register{
		at(Holding, 120, U16, 1), at(Holding, 0, U32, 1), at(Holding, 10, U16, 1), at(Holding, 11, F32, 1), at(Holding, 11, U16, 1),
		at(Holding, 22, U16, 1), at(Input, 1, U16, 1), at(Coil, 5, U16, 1), at(Coil, 3, U16, 1), at(Holding, 2, U16, 2),
	}
	said := func(unit uint8, gap int) string {
		var words []string
		for _, b := range plan(registers, unit, gap) {
			words = append(words, fmt.Sprint(b))
		}
		return strings.Join(words, ", ")
	}
	for want, got := range map[string]string{
		"holding 0 to 12, holding 22, holding 120, input 1, coil 3 to 5":                     said(1, 8),
		"holding 0 to 1, holding 10 to 12, holding 22, holding 120, input 1, coil 3, coil 5": said(1, 0),
		"holding 0 to 120, input 1, coil 3 to 5":                                             said(1, 1000),
		"holding 2":                                                                          said(2, 8),
		"":                                                                                   said(3, 8),
	} {
		if got != want {
			t.Errorf("plan is %q, want %q", got, want)
		}
	}
}

// A request holds 125 registers or 2,000 bits (V1.1b3, sections 6.1 to 6.4).
func TestBlocksAreNoLargerThanARequest(t *testing.T) {
	for table, want := range map[Table]string{Input: "[input 0 to 124 input 125 to 129]", Coil: "[coil 0 to 1999 coil 2000 to 2004]"} {
		var registers []Register
		for i := range table.most() + 5 {
			registers = append(registers, Register{Table: table, Address: uint16(i), Unit: 1})
		}
		if got := fmt.Sprint(plan(registers, 1, 8)); got != want {
			t.Errorf("plan is %s, want %s", got, want)
		}
	}
}

// Every register is in exactly one block, whole, and no block is larger than a
// request may be or wastes more than the gaps allow.
func TestPlansCoverAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		registers := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Register {
			return Register{
				Table:   Table(rapid.IntRange(0, int(tables)-1).Draw(t, "table")),
				Address: uint16(rapid.OneOf(rapid.IntRange(0, 200), rapid.IntRange(65400, 65534)).Draw(t, "address")),
				Number:  Number(rapid.IntRange(0, int(numbers)-1).Draw(t, "number")),
				Unit:    uint8(rapid.IntRange(1, 2).Draw(t, "unit")),
			}
		}), 1, 40).Draw(t, "registers")
		gap := rapid.IntRange(0, 30).Draw(t, "gap")
		seen := make(map[int]int)
		for _, unit := range []uint8{1, 2} {
			for _, b := range plan(registers, unit, gap) {
				checkBlock(t, registers, b, unit, gap)
				for _, i := range b.members {
					seen[i]++
				}
				if parts := b.split(registers); len(parts) != len(b.members) {
					t.Fatalf("%s splits into %d", b, len(parts))
				}
			}
		}
		for i := range registers {
			if seen[i] != 1 {
				t.Fatalf("register %d is in %d blocks", i, seen[i])
			}
		}
	})
}

func checkBlock(t *rapid.T, registers []Register, b block, unit uint8, gap int) {
	t.Helper()
	if b.size < 1 || b.size > b.table.most() || b.first+b.size > 1<<16 {
		t.Fatalf("%s has %d", b, b.size)
	}
	used := make([]bool, b.size)
	for _, i := range b.members {
		r := registers[i]
		if r.Unit != unit || r.Table != b.table || int(r.Address) < b.first || int(r.Address)+r.size() > b.first+b.size {
			t.Fatalf("%+v is in %s of unit %d", r, b, unit)
		}
		for j := range r.size() {
			used[int(r.Address)-b.first+j] = true
		}
	}
	idle := 0
	for _, u := range used {
		if idle++; u {
			idle = 0
		}
		if idle > gap {
			t.Fatalf("%s reads more than %d in vain", b, gap)
		}
	}
}

func TestRefuses(t *testing.T) {
	good := func() Config {
		return Config{URL: "tcp://127.0.0.1:502", Registers: []Register{reg(temp, I16), reg(run, U16, func(r *Register) { r.Table = Coil })}}
	}
	line := func(c *Config) { c.URL = "rtu:///dev/ttyUSB0" }
	for want, bend := range map[string]func(*Config){
		"every":              func(c *Config) { c.Every = time10ms },
		"timeout":            func(c *Config) { c.Timeout = 60e9 },
		"no registers":       func(c *Config) { c.Registers = nil },
		"tcp://host:port,":   func(c *Config) { c.URL = "tcp://host" },
		"or rtu:///dev":      func(c *Config) { c.URL = "http://host" },
		"rtu:///dev/ttyUSB0": func(c *Config) { c.URL = "rtu://ttyUSB0" },
		"speed":              func(c *Config) { line(c); c.Baud = 1 },
		"parity":             func(c *Config) { line(c); c.Parity = "mark" },
		"stop bits":          func(c *Config) { line(c); c.StopBits = 3 },
		"unit 0":             func(c *Config) { line(c); c.Registers[0].Unit = 0 },
		"twice":              func(c *Config) { c.Registers[1] = c.Registers[0] },
		"of a gland":         func(c *Config) { c.Registers[0].Point.Gland = "" },
		"drip, temp":         func(c *Config) { c.Registers[0].Point.Kind = reading.Kinds },
		"a table":            func(c *Config) { c.Registers[0].Table = tables },
		"a number":           func(c *Config) { c.Registers[0].Number = numbers },
		"65535":              func(c *Config) { c.Registers[0].Address, c.Registers[0].Number = 65535, U32 },
		"run only":           func(c *Config) { c.Registers[0].Table = Discrete },
		"u16 or u32":         func(c *Config) { c.Registers[0].Point = drip },
		"a counter is one":   func(c *Config) { c.Registers[0] = reg(drip, U16, func(r *Register) { r.Scale = 2 }) },
		"at most 3s":         func(c *Config) { c.Registers[0] = reg(drip, U16); c.Every = 5e9 },
		"for run":            func(c *Config) { c.Registers[0].Inverted = true },
	} {
		cfg := good()
		bend(&cfg)
		if _, err := New(cfg, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	if s, err := New(good(), nil); err != nil || s.String() != "modbus tcp://127.0.0.1:502" || len(s.Points()) != 2 {
		t.Errorf("got %v, %v", s, err)
	}
}

const time10ms = 10_000_000
