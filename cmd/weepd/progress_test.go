package main

import (
	"bytes"
	"regexp"
	"testing"
	"time"
)

func TestProgressLine(t *testing.T) {
	for want, got := range map[string]string{
		"[######..................]  25 %  2.0 M rows/s  30s left":            progressLine(0.25, true, 20e6, 10*time.Second),
		"[########################] 100 %  5.5 M rows/s  0s left":             progressLine(1, true, 5.5e6, time.Second),
		"[........................]   0 %  0.0 M rows/s  time left not known": progressLine(0, true, 0, time.Second),
		"12.3 M rows  3.1 M rows/s":                                           progressLine(0, false, 12.3e6, 4*time.Second),
		"[#######################.] 100 %  1.0 M rows/s  2s left":             progressLine(0.999, true, 2e9, 2000*time.Second),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What is printed while a bar is shown takes it away first, in whole lines.
func TestProgressAndPrintDoNotMix(t *testing.T) {
	var screen bytes.Buffer
	p := &progress{bar: &screen, out: &screen}
	write := func(s string) {
		if n, err := p.Write([]byte(s)); n != len(s) || err != nil {
			t.Fatal(n, err)
		}
	}
	p.show(time.Second)
	write("one\ntw")
	p.show(time.Second)
	write("o\n")
	write("three")
	if err := p.end(); err != nil {
		t.Fatal(err)
	}
	const bar, gone = "\r\x1b[K0.0 M rows  0.0 M rows/s", "\r\x1b[K"
	if want := bar + gone + "one\n" + bar + gone + "two\nthree"; screen.String() != want {
		t.Errorf("%q, want %q", screen.String(), want)
	}
}

// On a terminal a replay that takes its time shows a bar and takes it away again;
// the report stays clean. In a pipe nothing is shown (TestReplaySummary).
func TestProgressOnATerminal(t *testing.T) {
	keyboard, screen := terminal(t)
	_, stop := startProgress(streams{out: &bytes.Buffer{}, err: screen})
	seen := make([]byte, 0, 200)
	for part := make([]byte, 100); !regexp.MustCompile(`0\.0 M rows/s`).Match(seen); {
		n, err := keyboard.Read(part)
		if err != nil {
			t.Fatal(err)
		}
		seen = append(seen, part[:n]...)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	n, err := keyboard.Read(make([]byte, 100))
	if err != nil || n == 0 {
		t.Error("the bar was not taken away", err)
	}
}
