package access

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

func TestUsersFileLife(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users")
	if err := errors.Join(AddUser(path, "operator", operatorSecret, Change{}), AddUser(path, "visitor", visitorSecret, Change{ReadOnly: true})); err != nil {
		t.Fatal(err)
	}
	command, err := AddToken(path, "control-room", Change{})
	if err != nil {
		t.Fatal(err)
	}
	text := read(t, path)
	for _, secret := range []string{operatorSecret, visitorSecret, command} {
		if strings.Contains(text, secret) {
			t.Errorf("%q is in the file", secret)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v; want 0600", info.Mode(), err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if err := AddUser(path, "operator", "another secret", Change{}); err == nil || !strings.Contains(err.Error(), "operator is in "+path+" already; use --replace") {
		t.Errorf("the same name again: %v", err)
	}
	if err := AddUser(path, "operator", "another secret", Change{Replace: true}); err != nil {
		t.Fatal(err)
	}
	if err := Remove(path, "visitor"); err != nil {
		t.Fatal(err)
	}
	if err := Remove(path, "visitor"); err == nil || !strings.Contains(err.Error(), "visitor is not in") {
		t.Errorf("removed twice: %v", err)
	}
	if info, _ := os.Stat(path); info.Mode().Perm() != 0o640 {
		t.Errorf("mode %v after the change, want 0640 as before", info.Mode())
	}
	b, err := LoadUsers(path)
	if err != nil || fmt.Sprint(b.Entries()) != "[{{control-room false} true} {{operator false} false}]" {
		t.Errorf("%v, %v", b.Entries(), err)
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".users-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestEditRefusals(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users")
	for _, c := range []struct{ name, secret, want string }{
		{"an:operator", operatorSecret, "want 1 to 64 of"},
		{"operator", "short", "fewer than 8 characters"},
		{"operator", strings.Repeat("ü", 37), "longer than 72 bytes"},
		{"operator", "with a\ttab in it", "control characters"},
		{"operator", "not UTF-8 \xff", "not UTF-8"},
	} {
		if err := AddUser(path, c.name, c.secret, Change{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s, %q: %v, want %s", c.name, c.secret, err, c.want)
		}
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a refusal made the file")
	}
	if err := Remove(path, "operator"); err == nil || !strings.Contains(err.Error(), "check the name") {
		t.Errorf("no file: %v", err)
	}
	put(t, path, "operator:rubbish\n")
	if _, err := AddToken(path, "scada", Change{}); err == nil || !strings.Contains(err.Error(), path+":1:10: not a bcrypt hash") {
		t.Errorf("a file at fault: %v", err)
	}
	if read(t, path) != "operator:rubbish\n" {
		t.Error("a file at fault was changed")
	}
}

func TestModeOfUsersFile(t *testing.T) {
	path, _, _ := usersFile(t)
	for mode, want := range map[os.FileMode]string{
		0o644: "lets everybody at it; run chmod 640 " + path, 0o602: "lets everybody at it", 0o660: "lets its group change it",
		0o640: "", 0o600: "", 0o400: "",
	} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		_, err := LoadUsers(path)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("mode %o: %v, want %q", mode, err, want)
		}
	}
	if _, err := LoadUsers(filepath.Dir(path)); err == nil || !strings.Contains(err.Error(), "not a file") {
		t.Errorf("a folder: %v", err)
	}
}

// Editors at the same time lose nothing of each other.
func TestEditorsAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users")
	var all sync.WaitGroup
	for i := range 20 {
		all.Go(func() {
			if _, err := AddToken(path, fmt.Sprintf("t%d", i), Change{}); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	b, err := LoadUsers(path)
	if err != nil || len(b.Entries()) != 20 {
		t.Errorf("%v, %v", b, err)
	}
}
