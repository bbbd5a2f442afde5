package config

import (
	"regexp"
	"strconv"
)

// Store is where the agent keeps what must survive it.
type Store struct {
	// Path is a folder; empty: not given, see `weepd run --help`. A relative
	// one in the file starts at the configuration's folder.
	Path     string
	MaxBytes int64 // of all files together
}

// Bounds of the store's size.
const (
	defaultStoreBytes = 256 << 20
	leastStoreBytes   = 4 << 20
	mostStoreBytes    = 1 << 40
	sizeWant          = "a size from 4MiB to 1TiB, such as 256MiB"
)

func (d *decoder) store(s *Store, e entry) {
	d.mapping(e,
		field{"path", d.path(&s.Path)},
		field{"max_bytes", d.size(&s.MaxBytes)},
	)
}

var sizePattern = regexp.MustCompile(`^([1-9][0-9]{0,14}) ?([kKMGT]i?)?B?$`)

// size reads a number of bytes: 268435456, 256MiB (powers of 1024) or 256MB
// (powers of 1000).
func (d *decoder) size(dst *int64) func(entry) {
	return func(e entry) {
		text, ok := d.plain(e, sizeWant)
		if !ok {
			return
		}
		n, ok := parseSize(text)
		switch {
		case !ok:
			d.fault(e.at, "want "+sizeWant, "%s is %s, not a size", e.path, quoted(text))
		case n < leastStoreBytes || n > mostStoreBytes:
			d.fault(e.at, "want "+sizeWant, "%s is %s, out of range", e.path, excerpt(text))
		default:
			*dst = n
		}
	}
}

func parseSize(text string) (int64, bool) {
	parts := sizePattern.FindStringSubmatch(text)
	if parts == nil {
		return 0, false
	}
	n, err := strconv.ParseInt(parts[1], 10, 64)
	if err != nil {
		return 0, false
	}
	unit := map[string]int64{
		"": 1, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "T": 1e12, "Ki": 1 << 10, "ki": 1 << 10, "Mi": 1 << 20, "Gi": 1 << 30, "Ti": 1 << 40,
	}[parts[2]]
	if n > mostStoreBytes/unit {
		return mostStoreBytes + 1, true
	}
	return n * unit, true
}
