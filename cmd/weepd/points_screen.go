package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"weepd/agent"
)

const (
	redrawEvery = 250 * time.Millisecond
	printEvery  = time.Second
)

// show shows the table until ctx ends.
func (p *points) show(ctx context.Context, station string, watch *agent.Points) error {
	began := time.Now()
	table := func() string { return pointTable(station, time.Since(began), watch.Rows()) }
	size, isScreen := screenOf(p.out)
	if isScreen {
		return onScreen(ctx, p.out, size, table)
	}
	out := &printer{w: p.out}
	for pause(ctx, printEvery) && out.err == nil {
		out.printf("%s\n", table())
	}
	return out.err
}

// screenOf tells whether w is a terminal, and how large it is at any time.
func screenOf(w io.Writer) (size func() (width, height int), is bool) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, false
	}
	return func() (int, int) {
		width, height, err := term.GetSize(int(f.Fd()))
		if err != nil {
			return 80, 24
		}
		return width, height
	}, true
}

// Control sequences of ECMA-48; the other screen, which leaves what was there
// untouched, and the cursor's visibility are DEC's private modes 1049 and 25.
const (
	enterScreen = "\x1b[?1049h\x1b[?25l"
	leaveScreen = "\x1b[?25h\x1b[?1049l"
	home        = "\x1b[H"
	clearLine   = "\x1b[K"
	clearBelow  = "\x1b[J"
)

// onScreen draws the table in place until ctx ends, and leaves the last one
// among what was there before.
func onScreen(ctx context.Context, w io.Writer, size func() (width, height int), table func() string) error {
	out := &printer{w: w}
	out.printf("%s", enterScreen)
	for {
		width, height := size()
		out.printf("%s", frame(table()+"\nCtrl-C ends.", width, height))
		if !pause(ctx, redrawEvery) || out.err != nil {
			break
		}
	}
	out.printf("%s%s", leaveScreen, table())
	return out.err
}

// frame draws text over what was there, cut to the screen.
func frame(text string, width, height int) string {
	lines := strings.Split(text, "\n")
	var fitting []string
	for _, line := range lines {
		fitting = append(fitting, wrap(line, max(width, 20))...)
	}
	if height > 1 && len(fitting) > height {
		hidden := len(fitting) - height + 1
		fitting = append(fitting[:height-1], fmt.Sprintf("... and %d lines more: make the window larger, or use --once", hidden))
	}
	return home + strings.Join(fitting, clearLine+"\r\n") + clearLine + clearBelow
}

// wrap breaks a line at the width, at spaces where it can, and sets in what
// goes on.
func wrap(line string, width int) []string {
	const indent = "      "
	var out []string
	rest := []rune(line)
	for len(rest) > width {
		cut := width
		for i := width; i > width/2; i-- {
			if rest[i] == ' ' {
				cut = i
				break
			}
		}
		out = append(out, strings.TrimRight(string(rest[:cut]), " "))
		rest = append([]rune(indent), []rune(strings.TrimLeft(string(rest[cut:]), " "))...)
	}
	return append(out, string(rest))
}
