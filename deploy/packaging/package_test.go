//go:build integration

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var architectures = []string{"amd64", "arm64", "armhf"}

// build runs deploy/package of a checkout and gives what it wrote.
func build(t *testing.T, checkout string, environment ...string) (dist string) {
	t.Helper()
	dist = filepath.Join(t.TempDir(), "dist")
	cmd := exec.CommandContext(t.Context(), filepath.Join(checkout, "deploy/package"), dist)
	cmd.Env = append(os.Environ(), environment...)
	mustRun(t, cmd)
	return dist
}

func packageOf(t *testing.T, dist, arch string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dist, "weepd_*_"+arch+".deb"))
	if err != nil || len(found) != 1 {
		t.Fatalf("packages for %s: %v, %v; want one", arch, found, err)
	}
	return found[0]
}

func TestPackages(t *testing.T) {
	repo, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	dist := build(t, repo)
	t.Run("the same bytes from elsewhere", func(t *testing.T) { checkReproducible(t, repo, dist) })
	for _, arch := range architectures {
		t.Run(arch, func(t *testing.T) { checkPackage(t, dist, arch) })
	}
	t.Run("life", func(t *testing.T) { checkLife(t, packageOf(t, dist, nativeArch(t))) })
}

// checkReproducible builds a copy of the checkout in another folder, another
// zone, another language and with another umask.
func checkReproducible(t *testing.T, repo, dist string) {
	elsewhere := filepath.Join(t.TempDir(), "another name")
	must(t, "mkdir", elsewhere)
	must(t, "sh", "-ec", `cd "$1"; umask 077; { git ls-files -z --cached --others --exclude-standard; printf '.git\0'; } |
		tar -c --null --ignore-failed-read --files-from=- 2>/dev/null | tar -x -C "$2"`, "sh", repo, elsewhere)
	again := build(t, elsewhere, "TZ=Pacific/Auckland", "LC_ALL=C", "TMPDIR="+t.TempDir())
	want, err := os.ReadFile(filepath.Join(dist, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(again, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) || strings.Count(string(want), ".deb\n") != len(architectures) {
		t.Errorf("built here:\n%sbuilt elsewhere:\n%s", want, got)
	}
}

func nativeArch(t *testing.T) string {
	t.Helper()
	return strings.TrimSpace(must(t, "dpkg", "--print-architecture"))
}

// emulator runs a program of another architecture.
func emulator(t *testing.T, arch string) []string {
	t.Helper()
	if arch == nativeArch(t) {
		return nil
	}
	return []string{map[string]string{"amd64": "qemu-x86_64-static", "arm64": "qemu-aarch64-static", "armhf": "qemu-arm-static"}[arch]}
}

func checkPackage(t *testing.T, dist, arch string) {
	file := packageOf(t, dist, arch)
	if got := strings.TrimSpace(must(t, "dpkg-deb", "--field", file, "Architecture")); got != arch {
		t.Errorf("architecture %s", got)
	}
	if got := must(t, "dpkg-deb", "--ctrl-tarfile", file); !strings.Contains(got, "/etc/weepd/weepd.yaml\n") {
		t.Error("the configuration is no conffile")
	}
	root := filepath.Join(t.TempDir(), "root")
	must(t, "dpkg-deb", "--extract", file, root)
	list := must(t, "dpkg-deb", "--contents", file)
	for line := range strings.Lines(list) {
		if !strings.Contains(line, " root/root ") || strings.HasPrefix(line, "-rwxrwx") {
			t.Errorf("owner or mode: %s", line)
		}
	}
	program := append(emulator(t, arch), filepath.Join(root, "usr/bin/weepd"))
	run := func(args ...string) string {
		line := append(append([]string{}, program...), args...)
		return must(t, line[0], line[1:]...)
	}
	version := run("version")
	if want := "weepd " + strings.TrimSpace(must(t, "dpkg-deb", "--field", file, "Version")) + " "; !strings.HasPrefix(version, want) {
		t.Errorf("version says %s, want %s", version, want)
	}
	if goarch := map[string]string{"amd64": "amd64", "arm64": "arm64", "armhf": "arm"}[arch]; !strings.HasSuffix(version, " linux/"+goarch+"\n") {
		t.Errorf("version says %s", version)
	}
	if want := toolchain(t); !strings.Contains(version, " "+want+" ") && os.Getenv("WEEPD_TOOLCHAIN") == "" {
		t.Errorf("version says %s, want it built by %s as go.mod says", version, want)
	}
	checkManual(t, root, run("--help"))
	for _, path := range []string{
		"usr/share/bash-completion/completions/weepd", "usr/share/zsh/vendor-completions/_weepd", "usr/share/fish/vendor_completions.d/weepd.fish",
		"usr/share/doc/weepd/copyright", "usr/share/doc/weepd/changelog.gz",
	} {
		if info, err := os.Stat(filepath.Join(root, path)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", path, err)
		}
	}
	checkParts(t, strings.TrimSuffix(file, ".deb")+".cdx.json", filepath.Join(root, "usr/bin/weepd"), filepath.Join(root, "usr/share/doc/weepd/copyright"))
}

func toolchain(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile(`(?m)^toolchain (\S+)$`).FindSubmatch(text)
	if found == nil {
		t.Fatal("go.mod names no toolchain")
	}
	return string(found[1])
}

// checkManual looks for a page of each command that the help lists, and at
// what man makes of it.
func checkManual(t *testing.T, root, help string) {
	t.Helper()
	_, list, _ := strings.Cut(help, "Available Commands:\n")
	list, _, _ = strings.Cut(list, "\n\n")
	commands := 0
	for line := range strings.Lines(list) {
		name := strings.Fields(line)[0]
		if name == "help" {
			continue
		}
		commands++
		page := filepath.Join(root, "usr/share/man/man1/weepd-"+name+".1.gz")
		text := must(t, "sh", "-ec", `zcat "$1" | groff -man -Tutf8 -ww 2>&1`, "sh", page)
		if !strings.Contains(text, "weepd-"+name) || strings.Contains(text, "troff:") {
			t.Errorf("page of %s:\n%s", name, text)
		}
	}
	if commands < 5 {
		t.Errorf("only %d commands in\n%s", commands, help)
	}
}

// checkParts compares the list of parts with what the program itself says, and
// looks for a licence of each.
func checkParts(t *testing.T, parts, program, copyright string) {
	t.Helper()
	list, err := os.ReadFile(parts)
	if err != nil {
		t.Fatal(err)
	}
	licences, err := os.ReadFile(copyright)
	if err != nil {
		t.Fatal(err)
	}
	modules := 0
	for line := range strings.Lines(must(t, "go", "version", "-m", program)) {
		words := strings.Fields(line)
		if len(words) < 3 || words[0] != "dep" {
			continue
		}
		modules++
		if !strings.Contains(string(list), `"name": "`+words[1]+`"`) || !strings.Contains(string(list), words[2]) {
			t.Errorf("%s %s is not in %s", words[1], words[2], filepath.Base(parts))
		}
		_, after, found := strings.Cut(string(licences), "\n==== "+words[1]+"@"+words[2]+"\n\n")
		if licence, _, _ := strings.Cut(after, "\n==== "); !found || len(licence) < 200 {
			t.Errorf("no licence of %s %s", words[1], words[2])
		}
	}
	if modules < 10 || !strings.Contains(string(list), `"bomFormat": "CycloneDX"`) {
		t.Errorf("%d modules, list of parts:\n%.300s", modules, list)
	}
}
