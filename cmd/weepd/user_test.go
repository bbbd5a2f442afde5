package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestUserCommands(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users")
	run := func(stdin string, args ...string) ran {
		t.Helper()
		return weepd(t, stdin, append(append([]string{"user"}, args...), "--file", path)...)
	}
	if got := run("wrench hammer gland\nnot this\n", "add", "operator"); got != (ran{}) {
		t.Fatalf("add: %+v", got)
	}
	token := run("", "token", "metrics", "--read-only")
	if token.code != exitDone || token.err != "" || len(token.out) != len("weepd_")+43+1 {
		t.Errorf("token: %+v", token)
	}
	want := "NAME      LOGS IN WITH  MAY\nmetrics   token         read\noperator  secret        read, command\n"
	if got := run("", "list"); got.out != want {
		t.Errorf("list: %+v, want\n%s", got, want)
	}
	for _, c := range []struct {
		stdin string
		args  []string
		says  string
	}{
		{"another secret", []string{"add", "operator"}, "--replace"},
		{"", []string{"add", "fitter"}, "fewer than 8 characters"},
		{"a good secret", []string{"add", "a:b"}, "want 1 to 64"},
		{"", []string{"remove", "fitter"}, "fitter is not in"},
	} {
		if got := run(c.stdin, c.args...); got.code != exitFault || !strings.Contains(got.err, c.says) || strings.Contains(got.err, "secret\n") {
			t.Errorf("%v: %+v, want %s", c.args, got, c.says)
		}
	}
	if got := run("", "remove", "metrics"); got != (ran{}) {
		t.Errorf("remove: %+v", got)
	}
	text, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(text), "wrench") || strings.Count(string(text), ":") != 1 {
		t.Errorf("%v: %s", err, text)
	}
	for _, args := range [][]string{{"user"}, {"user", "add", "x"}, {"user", "list"}, {"user", "add", "--file", path}} {
		if got := weepd(t, "", args...); got.code != exitUsage {
			t.Errorf("%v: %+v", args, got)
		}
	}
}

func TestCheckSaysWhoGetsIn(t *testing.T) {
	dir := t.TempDir()
	users := filepath.Join(dir, "users")
	config := filepath.Join(dir, "quarry.yaml")
	write := func(http string) {
		t.Helper()
		if err := os.WriteFile(config, []byte("station: quarry\nglands: [{id: p1-de}]\nhttp: "+http+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	check := func(code int, says string) {
		t.Helper()
		if got := weepd(t, "", "check", config); got.code != code || !strings.Contains(got.out+got.err, says) {
			t.Errorf("%+v, want %d %s", got, code, says)
		}
	}
	write(`{listen: "127.0.0.1:9733"}`)
	check(exitDone, "page at http://127.0.0.1:9733; may read: this machine; may command: nobody (http.users is not set)")
	write(`{listen: ":9733"}`)
	check(exitFault, `:3:8: http.listen ":9733" is open to the network`)
	write(`{listen: "[::]:9733", insecure: true}`)
	check(exitDone, "may read: everybody who reaches it")
	check(exitDone, "note: http.insecure is true")
	write(`{listen: "127.0.0.1:9733", users: users}`)
	check(exitDone, "users in "+users+" (not there on this machine)")
	if got := weepd(t, "a good secret", "user", "add", "operator", "--file", users); got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	check(exitDone, "may read: this machine, and users; may command: users in "+users+"\n")
	if err := os.Chmod(users, 0o644); err != nil {
		t.Fatal(err)
	}
	check(exitFault, "run chmod 640 "+users)
	if err := os.WriteFile(users, []byte("operator:x\n"), 0o600); err != nil || os.Chmod(users, 0o600) != nil {
		t.Fatal(err)
	}
	check(exitFault, users+":1:10: not a bcrypt hash")
	write(`{listen: ":9733", users: users, tls: {cert: users, key: users}}`)
	check(exitFault, "failed to find any PEM data")
}
