package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// sensorFiles writes files that sensors are read from and a configuration.
func sensorFiles(t *testing.T, config string, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	files["station.yaml"] = config
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "station.yaml")
}

func TestPointsOnceWhenAllAnswer(t *testing.T) {
	path := sensorFiles(t, `station: quarry
glands:
  - id: p1-de
    sensors:
      drip: {source: counter, path: count, every: 100ms}
      temp: {source: file, path: temp, scale: 0.001}
      ref: {source: file, path: ref}
      run: {source: file, path: run}
`, map[string]string{"count": "17\n", "temp": "41500\n", "ref": "18.25", "run": "1"})
	got := weepd(t, "", "points", "--config", path, "--once")
	if got.code != exitDone || got.err != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		`quarry, watched for \d+s\n`, `POINT +SOURCE +RAW +VALUE +QUALITY +AGE\n`,
		`p1-de\.drip +counter \S+/count +\S.* 0 drops.* good +\d\.\d s\n`,
		`p1-de\.temp +file \S+/temp +\S.* 41\.50 °C +good`, `p1-de\.ref .* 18\.25 °C`, `p1-de\.run .* turning `,
	} {
		if !regexp.MustCompile(want).MatchString(got.out) {
			t.Errorf("no %s in:\n%s", want, got.out)
		}
	}
}

func TestPointsOnceSaysWhatCannotBeRead(t *testing.T) {
	path := sensorFiles(t, `station: quarry
glands:
  - id: p1-de
    sensors:
      drip: {source: counter, path: count}
      temp: {source: file, path: none}
      ref: {source: file, path: words}
      run: {source: modbus, connection: plc, table: coil, address: 1}
modbus: [{id: plc, url: "tcp://127.0.0.1:1", timeout: 100ms}]
`, map[string]string{"count": "17\n", "words": "warm"})
	began := time.Now()
	got := weepd(t, "", "points", "--config", path, "--once", "--within", "1s")
	if got.code != exitFault || !strings.Contains(got.err, "3 of 4 points cannot be read") {
		t.Errorf("exit %d: %s", got.code, got.err)
	}
	if time.Since(began) < time.Second {
		t.Error("did not wait for points that may yet answer")
	}
	for _, want := range []string{
		`p1-de\.drip .*good`, `p1-de\.temp .* - +no-answer .*\n +why: \S+`, `p1-de\.ref .* garbled .*\n +why: \S+`,
		`p1-de\.run +modbus tcp://127\.0\.0\.1:1 .* no-answer .*\n +why: .*refused`,
	} {
		if !regexp.MustCompile(want).MatchString(got.out) {
			t.Errorf("no %s in:\n%s", want, got.out)
		}
	}
}

func TestPointsPrintsAgainAndAgain(t *testing.T) {
	path := sensorFiles(t, "station: quarry\nglands: [{id: a, sensors: {drip: {source: simulated, dpm: 600}}}]\n", map[string]string{})
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out := &saying{}
	done := make(chan int, 1)
	go func() { done <- execute(ctx, []string{"points", "--config", path}, strings.NewReader(""), out, out) }()
	out.until(t, "third table", func(s string) bool { return strings.Count(s, "POINT") == 3 })
	cancel()
	if code := <-done; code != exitDone {
		t.Errorf("exit %d", code)
	}
	if text := out.String(); strings.Contains(text, "\x1b") || !regexp.MustCompile(`a\.drip .* [1-9]\d* drops, \d+\.\d dpm \(`).MatchString(text) {
		t.Errorf("no drops, or control sequences:\n%q", text)
	}
}

func TestPointsRefuses(t *testing.T) {
	path := sensorFiles(t, "station: quarry\nglands: [{id: a, sensors: {temp: {source: simulated}}}, {id: b}]\n", map[string]string{})
	bare := sensorFiles(t, "station: quarry\nglands: [{id: a}]\n", map[string]string{})
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{nil, exitUsage, "config"},
		{[]string{"--config", "none.yaml"}, exitFault, "none.yaml:1:1: cannot be opened"},
		{[]string{"--config", path, "--once", "--count", "a"}, exitUsage, "want one of them"},
		{[]string{"--config", path, "--within", "3s"}, exitUsage, "--once"},
		{[]string{"--config", path, "--once", "--within", "0s"}, exitUsage, "above 0"},
		{[]string{"--config", path, "--count", "c"}, exitFault, `no gland "c"; there are a, b`},
		{[]string{"--config", path, "--count", "a"}, exitFault, "gland a has no drip sensor"},
		{[]string{"--config", bare}, exitFault, "no sensor is fitted"},
	} {
		got := weepd(t, "", append([]string{"points"}, c.args...)...)
		if got.code != c.code || !strings.Contains(got.err, c.says) {
			t.Errorf("%q: exit %d, want %d and %q in: %s", c.args, got.code, c.code, c.says, got.err)
		}
	}
	if help := weepd(t, "", "points", "--help"); !strings.Contains(help.out, "outside the guards") {
		t.Errorf("the help does not warn:\n%s", help.out)
	}
}

func TestScreenIsDrawnInPlaceAndLeft(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	var out bytes.Buffer
	drawn := 0
	table := func() string {
		if drawn++; drawn == 3 {
			cancel()
		}
		return "first line\nwhy: a cause that does not fit on it\n"
	}
	if err := onScreen(ctx, &out, func() (int, int) { return 24, 4 }, table); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	one := home + "first line" + clearLine + "\r\nwhy: a cause that does" + clearLine + "\r\n      not fit on it" + clearLine + "\r\n... and 2 lines more: make the window larger, or use --once" + clearLine + clearBelow
	if want := enterScreen + strings.Repeat(one, 3) + leaveScreen + "first line\nwhy: a cause that does not fit on it\n"; text != want {
		t.Errorf("got  %q\nwant %q", text, want)
	}
}

func TestWrapKeepsEveryWord(t *testing.T) {
	line := "    why: open /dev/spidev0.0: no such file or directory; switch SPI on and check the rights to it " + strings.Repeat("x", 60)
	for _, width := range []int{20, 33, 80, 500} {
		parts := wrap(line, width)
		for _, part := range parts {
			if len([]rune(part)) > width {
				t.Errorf("width %d: %q", width, part)
			}
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if squeeze(strings.Join(parts, " ")) != squeeze(line) {
			t.Errorf("width %d: %q", width, parts)
		}
	}
}
