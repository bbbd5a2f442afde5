//go:build !amd64

package recording

// run scans the fastest way that there is.
func (s *scan) run() { s.plain() }
