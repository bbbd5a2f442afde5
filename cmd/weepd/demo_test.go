package main

import (
	"bytes"
	"context"
	"net"
	"regexp"
	"strings"
	"testing"
)

func TestDemoEndsByItselfAndSaysWhereItIs(t *testing.T) {
	var out, errs bytes.Buffer
	args := []string{"demo", "--for", "1s", "--listen", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"}
	if code := execute(t.Context(), args, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Errorf("exit %d: %s", code, &errs)
	}
	for _, want := range []string{
		`page +http://127\.0\.0\.1:[1-9]\d*/\n`, `metrics +http://127\.0\.0\.1:[1-9]\d*/metrics\n`,
		`MQTT +127\.0\.0\.1:[1-9]\d*, topics weepd/quarry/#\n`, `nothing here is measured`,
	} {
		if !regexp.MustCompile(want).MatchString(out.String()) {
			t.Errorf("no %s in:\n%s", want, &out)
		}
	}
}

func TestDemoRefuses(t *testing.T) {
	var lc net.ListenConfig
	held, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = held.Close() }()
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--for", "-1s"}, exitUsage, "want a time above 0"},
		{[]string{"--for", "soon"}, exitUsage, "soon"},
		{[]string{"extra"}, exitUsage, "extra"},
		{[]string{"--mqtt", "127.0.0.1:0", "--listen", held.Addr().String()}, exitFault, "address already in use"},
		{[]string{"--mqtt", held.Addr().String()}, exitFault, "give another address with --mqtt"},
	} {
		var out, errs bytes.Buffer
		code := execute(t.Context(), append([]string{"demo"}, c.args...), strings.NewReader(""), &out, &errs)
		if code != c.code || !strings.Contains(errs.String(), c.says) {
			t.Errorf("%q: exit %d, want %d and %q in: %s", c.args, code, c.code, c.says, &errs)
		}
	}
}

func TestRunRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{nil, exitUsage, "config"},
		{[]string{"--config", "no-such.yaml"}, exitFault, "no-such.yaml"},
	} {
		var out, errs bytes.Buffer
		code := execute(context.Background(), append([]string{"run"}, c.args...), strings.NewReader(""), &out, &errs)
		if code != c.code || !strings.Contains(errs.String(), c.says) {
			t.Errorf("%q: exit %d, want %d and %q in: %s", c.args, code, c.code, c.says, &errs)
		}
	}
}
