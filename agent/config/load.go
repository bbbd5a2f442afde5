package config

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// MaxBytes is the largest configuration that is read. A gland takes some
// 500 bytes, so this is about two thousand glands.
const MaxBytes = 1 << 20

// Load reads and parses the configuration at path. Its error is a Faults.
func Load(path string) (*Config, error) {
	cfg, _, err := LoadText(path)
	return cfg, err
}

// LoadText is Load that gives the text too, also that of one at fault.
func LoadText(path string) (*Config, []byte, error) {
	data, fault := readBounded(path)
	if fault != nil {
		return nil, nil, Faults{*fault}
	}
	cfg, faults := Parse(path, data)
	if len(faults) > 0 {
		return nil, data, faults
	}
	return cfg, data, nil
}

func readBounded(path string) ([]byte, *Fault) {
	fault := func(what, do string) *Fault { return &Fault{path, 1, 1, what, do} }
	file, err := os.Open(path)
	if err != nil {
		return nil, fault(fmt.Sprintf("cannot be opened (%s)", cause(err)), "check the name and that weepd's user may read it")
	}
	defer func() { _ = file.Close() }()
	// One byte more than allowed tells a file at the bound from one above it.
	data, err := io.ReadAll(io.LimitReader(file, MaxBytes+1))
	if err != nil {
		return nil, fault(fmt.Sprintf("cannot be read (%s)", cause(err)), "check that it is a file and readable")
	}
	return data, nil
}

// cause strips the path, which the fault already carries.
func cause(err error) error {
	if pathErr, ok := errors.AsType[*fs.PathError](err); ok {
		return pathErr.Err
	}
	return err
}
