package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Fault is one thing that is wrong with a configuration.
type Fault struct {
	File         string
	Line, Column int    // from 1; columns count characters
	What         string // what is wrong
	Do           string // what to do about it
}

// String gives `FILE:LINE:COLUMN: what; what to do`.
func (f Fault) String() string {
	return fmt.Sprintf("%s:%d:%d: %s; %s", f.File, f.Line, f.Column, f.What, f.Do)
}

// Faults is everything that is wrong with one configuration, by position.
type Faults []Fault

// Error gives one fault a line.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// tidy sorts by position and drops what was found twice.
func (fs Faults) tidy() Faults {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(fs)
}
