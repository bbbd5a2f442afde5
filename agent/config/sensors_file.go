package config

import (
	"math"
	"path/filepath"
	"strings"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/file"
)

func (d *decoder) readFile(p reading.Point, e entry, also field) *File {
	f := &File{Every: everyOf(p.Kind)}
	before := len(d.faults)
	seen := d.mapping(e, also,
		field{"path", d.path(&f.Path)},
		field{"scale", d.factor(&f.Scale)},
		field{"offset", d.number(&f.Offset, numberBounds())},
		field{"every", d.duration(&f.Every, shortestEvery, longestEvery, "10s")},
		field{"timeout", d.duration(&f.Timeout, shortestTimeout, longestEvery, "2s")},
	)
	d.required(e, seen, "path", "add `path:` of the file to read")
	f.Timeout = d.timeout(e, seen, f.Timeout, f.Every, defaultTimeout)
	if len(d.faults) == before { // what is left is what a node of the kernel does not give
		d.meaning(p, e, *f)
	}
	return f
}

// meaning refuses a node of the kernel that does not give what the point wants.
func (d *decoder) meaning(p reading.Point, e entry, f File) {
	_, err := file.New(file.Config{Path: f.Path, Scale: f.Scale, Offset: f.Offset, Every: f.Every, Timeout: f.Timeout}, p, nil)
	if err == nil {
		return
	}
	what, do, found := strings.Cut(err.Error(), "; ")
	if !found {
		do = "see the source's documentation"
	}
	d.fault(e.at, do, "%s: %s", e.path, what)
}

// factor reads a number that is not 0.
func (d *decoder) factor(dst *float64) func(entry) {
	return func(e entry) {
		v := math.NaN()
		d.number(&v, bounds{-1e9, 1e9, false, "a factor other than 0"})(e)
		switch {
		case v == 0:
			d.fault(e.at, "want a factor other than 0, e.g. 0.001 for thousandths of a degree", "%s is 0", e.path)
		case !math.IsNaN(v):
			*dst = v
		}
	}
}

func numberBounds() bounds { return bounds{-1e9, 1e9, false, "a number"} }

// timeout fills in how long one reading may take, and refuses one that is
// longer than the round.
func (d *decoder) timeout(e entry, seen placed, given, every, fallback time.Duration) time.Duration {
	if given == 0 {
		return min(fallback, every)
	}
	if given > every {
		d.fault(seen["timeout"], "lower it, or raise every", "%s.timeout %s is longer than every %s", e.path, short(given), short(every))
	}
	return given
}

// everyOf is how often a kind of point is read. Common practice, no source:
// metal of a gland warms over minutes, a pump starts at once.
func everyOf(k reading.Kind) time.Duration {
	if k == reading.Run {
		return time.Second
	}
	return defaultEvery
}

const (
	defaultEvery    = 10 * time.Second
	defaultTimeout  = 2 * time.Second
	shortestEvery   = 100 * time.Millisecond
	longestEvery    = time.Minute // a longer silence would count as a gap
	shortestTimeout = 10 * time.Millisecond
)

const maxPath = 1024

// path reads the name of a file; a relative one starts at the configuration.
func (d *decoder) path(dst *string) func(entry) {
	return func(e entry) {
		d.text(dst, maxPath, "the path of a file", func(s string) bool { return !strings.HasSuffix(s, "/") })(e)
		if *dst != "" && !filepath.IsAbs(*dst) {
			*dst = filepath.Join(filepath.Dir(d.file), *dst)
		}
	}
}
