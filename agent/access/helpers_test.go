package access

import (
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"go.uber.org/goleak"
	"golang.org/x/crypto/bcrypt"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var quiet = slog.New(slog.DiscardHandler)

const (
	operatorSecret = "wrench hammer gland follower"
	visitorSecret  = "look but do not touch"
)

// hashed gives the hashes of the secrets, made once: each takes its time.
var hashed = sync.OnceValue(func() (hashes [2]string) {
	for i, secret := range []string{operatorSecret, visitorSecret} {
		hash, err := bcrypt.GenerateFromPassword([]byte(secret), MinCost)
		if err != nil {
			return [2]string{}
		}
		hashes[i] = string(hash)
	}
	return hashes
})

// usersFile writes a users file with `operator`, the read-only `visitor`, and
// the tokens `control-room` and, read-only, `metrics`.
func usersFile(t *testing.T) (path, command, read string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "users")
	put(t, path, "operator:"+hashed()[0]+"\nvisitor:"+hashed()[1]+":read\n")
	command, err := AddToken(path, "control-room", Change{})
	if err != nil {
		t.Fatal(err)
	}
	read, err = AddToken(path, "metrics", Change{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	return path, command, read
}

func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// counted stands for bcrypt: it takes no time and counts.
type counted struct {
	calls  int
	hashes []string
	right  string // the only secret that fits, with any hash
}

func (c *counted) compare(hash, secret []byte) error {
	c.calls++
	c.hashes = append(c.hashes, string(hash))
	if _, err := bcrypt.Cost(hash); err != nil {
		return err
	}
	if string(secret) != c.right {
		return errors.New("differs")
	}
	return nil
}
