//go:build integration

package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// checkLife installs, upgrades, removes and purges the package in a fresh
// Debian. Its systemd is played by recorders of what is asked of it.
func checkLife(t *testing.T, file string) {
	m := newMachine(t)
	m.does(`mkdir -p /run/systemd/system
		for tool in systemctl udevadm deb-systemd-invoke; do
			printf '#!/bin/sh\necho "${0##*/} $*" >>/tmp/asked\n' >/usr/bin/$tool; chmod 755 /usr/bin/$tool
		done
		addgroup --quiet --system i2c`) // as other packages do
	m.copies(file, "/tmp/first.deb")
	before := m.files()

	said := m.does("dpkg -i /tmp/first.deb")
	if !strings.Contains(said, "systemctl enable --now weepd") {
		t.Errorf("the installation does not say what comes next:\n%s", said)
	}
	m.checkInstalled()

	m.does(`echo '# ours' >>/etc/weepd/weepd.yaml; chmod 755 /etc/weepd
		install -d -o weepd -g weepd /var/lib/weepd; echo kept >/var/lib/weepd/journal.db; : >/tmp/asked`)
	m.copies(newer(t, file), "/tmp/second.deb")
	m.does("dpkg --force-confdef --force-confold -i /tmp/second.deb")
	m.says("dpkg-query -W -f '${Version} ${Status}' weepd", "9:1 install ok installed")
	m.says("tail -n 1 /etc/weepd/weepd.yaml", "# ours")
	m.says("tail -n 1 /etc/weepd/weepd.yaml.dpkg-dist", "# new in 9:1")
	m.says("stat -c %a /etc/weepd", "755")
	m.says("cat /var/lib/weepd/journal.db", "kept")
	m.says("grep weepd.service /tmp/asked", "deb-systemd-invoke restart weepd.service")

	m.does("rm /etc/weepd/weepd.yaml.dpkg-dist; : >/tmp/asked; dpkg -r weepd")
	m.says("grep weepd.service /tmp/asked", "deb-systemd-invoke stop weepd.service")
	m.says("tail -n 1 /etc/weepd/weepd.yaml", "# ours")
	m.says("cat /var/lib/weepd/journal.db", "kept")
	m.fails("test -e /usr/bin/weepd")

	m.does("dpkg --force-confdef --force-confold -i /tmp/first.deb")
	m.says("tail -n 1 /etc/weepd/weepd.yaml", "# ours")
	m.does("dpkg -P weepd")
	m.fails("dpkg-query -W weepd")
	if after := m.files(); after != before {
		t.Errorf("left after a purge, or gone with it:\n%s", difference(before, after))
	}
}

func (m machine) checkInstalled() {
	m.t.Helper()
	m.says("weepd check /etc/weepd/weepd.yaml | head -n 1", "/etc/weepd/weepd.yaml: no faults; station quarry, glands: 1")
	m.says("id -nG weepd | tr ' ' '\\n' | sort | tr '\\n' ' '", "dialout gpio i2c spi weepd")
	m.says("getent passwd weepd | cut -d: -f6,7", "/var/lib/weepd:/usr/sbin/nologin")
	m.says("stat -c '%a %U %G' /etc/weepd", "750 root weepd")
	m.says("setpriv --reuid=weepd --regid=weepd --init-groups cat /etc/weepd/weepd.yaml | grep ^station", "station: quarry")
	m.fails("setpriv --reuid=nobody --regid=nogroup --clear-groups cat /etc/weepd/weepd.yaml")
	m.fails("setpriv --reuid=weepd --regid=weepd --init-groups sh -c 'echo >>/etc/weepd/weepd.yaml'")
	m.says("cat /usr/lib/systemd/system/weepd.service | grep ^User", "User=weepd")
	// Nothing is started that is not described yet.
	m.fails("grep -E 'start|enable' /tmp/asked")
	m.says("grep -c daemon-reload /tmp/asked", "1")
	m.says("grep -c 'udevadm trigger' /tmp/asked", "1")
	m.does("weepd __complete '' | grep ^replay; bash -c '. /usr/share/bash-completion/completions/weepd'")
	// It works there: a Debian without anything else.
	m.does("setpriv --reuid=weepd --regid=weepd --init-groups weepd demo --for 2s --listen 127.0.0.1:0 --mqtt 127.0.0.1:0")
}

// newer is the package in a later version with another default configuration.
func newer(t *testing.T, file string) string {
	t.Helper()
	dir := t.TempDir()
	must(t, "dpkg-deb", "--raw-extract", file, filepath.Join(dir, "tree"))
	must(t, "sh", "-ec", `cd "$1"; sed -i 's/^Version: .*/Version: 9:1/' DEBIAN/control; echo '# new in 9:1' >>etc/weepd/weepd.yaml; rm DEBIAN/md5sums`,
		"sh", filepath.Join(dir, "tree"))
	must(t, "dpkg-deb", "--root-owner-group", "--build", filepath.Join(dir, "tree"), filepath.Join(dir, "newer.deb"))
	return filepath.Join(dir, "newer.deb")
}

// files lists all files of the machine but for what dpkg keeps of itself and
// the users and groups that stay.
func (m machine) files() string {
	m.t.Helper()
	return m.does(`find / -xdev \( -path /proc -o -path /sys -o -path /tmp -o -path /var/lib/dpkg -o -path /var/log \) -prune -o -print |
		grep -Ev '^/etc/(passwd|group|shadow|gshadow|subuid|subgid)-?$' | LC_ALL=C sort`)
}

func difference(before, after string) string {
	had := make(map[string]bool)
	for line := range strings.Lines(before) {
		had[line] = true
	}
	var out strings.Builder
	for line := range strings.Lines(after) {
		if !had[line] {
			out.WriteString("left " + line)
		}
		delete(had, line)
	}
	for line := range had {
		out.WriteString("gone " + line)
	}
	return out.String()
}
