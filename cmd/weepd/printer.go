package main

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// printer writes until the first error and keeps it.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) printf(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

// table lines up cells that rows separate by tabs.
func (p *printer) table(rows func(cell *printer)) {
	aligned := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	inner := &printer{w: aligned, err: p.err}
	rows(inner)
	if p.err = inner.err; p.err == nil {
		p.err = aligned.Flush()
	}
}
