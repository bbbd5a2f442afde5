//go:build integration

package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// must runs a command and gives what it writes; the test ends if it fails.
func must(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	return mustRun(t, cmd)
}

func mustRun(t *testing.T, cmd *exec.Cmd) string {
	t.Helper()
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v\n%s%s", strings.Join(cmd.Args, " "), err, out.String(), errs.String())
	}
	return out.String()
}

// asRoot puts sudo before a command line if it takes it.
func asRoot(t *testing.T, args ...string) []string {
	t.Helper()
	if os.Geteuid() == 0 {
		return args
	}
	if err := exec.CommandContext(t.Context(), "sudo", "-n", "true").Run(); err != nil {
		t.Fatalf("a package is installed in a folder of its own, which needs root: run as root, or allow sudo without a password (%v)", err)
	}
	return append([]string{"sudo", "-n"}, args...)
}

func rootly(t *testing.T, args ...string) string {
	t.Helper()
	line := asRoot(t, args...)
	return must(t, line[0], line[1:]...)
}

// machine is a Debian in a folder.
type machine struct {
	t    *testing.T
	root string
}

// newMachine copies a fresh Debian that is kept in the cache.
func newMachine(t *testing.T) machine {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	const suite = "bookworm"
	fresh := filepath.Join(cache, "weepd-package", suite)
	if _, err := os.Stat(fresh); err != nil {
		rootly(t, "rm", "-rf", fresh+".new")
		if err := os.MkdirAll(filepath.Dir(fresh), 0o750); err != nil {
			t.Fatal(err)
		}
		rootly(t, "debootstrap", "--variant=minbase", "--include=adduser", suite, fresh+".new", mirror())
		rootly(t, "mv", fresh+".new", fresh)
	}
	m := machine{t, filepath.Join(t.TempDir(), "root")}
	rootly(t, "cp", "-a", "--reflink=auto", fresh, m.root)
	t.Cleanup(func() {
		line := asRootAfter(m.root)
		_ = exec.CommandContext(context.Background(), line[0], line[1:]...).Run() //nolint:gosec // our own folder
	})
	return m
}

func asRootAfter(root string) []string {
	line := []string{"rm", "-rf", root}
	if os.Geteuid() != 0 {
		line = append([]string{"sudo", "-n"}, line...)
	}
	return line
}

func mirror() string {
	if m := os.Getenv("WEEPD_DEBIAN_MIRROR"); m != "" {
		return m
	}
	return "http://deb.debian.org/debian"
}

// does runs a shell line inside.
func (m machine) does(line string) string {
	m.t.Helper()
	return rootly(m.t, "chroot", m.root, "/usr/bin/env", "-i", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive", "sh", "-ec", line)
}

// fails runs a shell line inside that must fail.
func (m machine) fails(line string) {
	m.t.Helper()
	m.does("if (" + line + ") 2>&1; then echo 'this should have failed' >&2; exit 1; fi")
}

func (m machine) copies(from, to string) {
	m.t.Helper()
	rootly(m.t, "cp", from, filepath.Join(m.root, to))
}

func (m machine) says(line, want string) {
	m.t.Helper()
	if got := strings.TrimSpace(m.does(line)); got != want {
		m.t.Errorf("%s: %q, want %q", line, got, want)
	}
}
