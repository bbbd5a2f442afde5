package access

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/crypto/bcrypt"
)

func testBook(t *testing.T) *Book {
	t.Helper()
	b, err := Parse("users", []byte("operator:"+someHash+"\ntoken scada:"+someSum+"\n"))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func testLogins(t *testing.T, c *counted) (*logins, *visitor) {
	t.Helper()
	l, err := newLogins()
	if err != nil {
		t.Fatal(err)
	}
	l.compare = c.compare
	v, err := newVisitors()
	if err != nil {
		t.Fatal(err)
	}
	return l, v.of(origin(request("GET", "/", nil)))
}

// A name that does not exist, a wrong secret and one too long each cost one
// comparison with a hash of the same cost.
func TestEveryFailureCostsTheSame(t *testing.T) {
	c := &counted{right: operatorSecret}
	l, v := testLogins(t, c)
	b := testBook(t)
	for _, try := range []struct{ name, secret string }{
		{"operator", "wrong"}, {"nobody", operatorSecret}, {"", operatorSecret}, {"scada", operatorSecret},
		{"operator", ""}, {"operator", strings.Repeat("x", 1000)},
	} {
		before := c.calls
		if _, err := l.person(t.Context(), v, b, try.name, try.secret); !errors.Is(err, errDenied) {
			t.Errorf("%+v: %v", try, err)
		}
		if c.calls != before+1 {
			t.Errorf("%+v: %d comparisons, want 1", try, c.calls-before)
		}
		if cost, err := bcrypt.Cost([]byte(c.hashes[len(c.hashes)-1])); err != nil || cost != 11 {
			t.Errorf("%+v: compared at cost %d, %v; want that of the file, 11", try, cost, err)
		}
	}
}

// bcrypt itself takes the hash of nobody, finds that nothing fits, and sees no
// more than 72 bytes of a secret.
func TestRealBcrypt(t *testing.T) {
	l, v := testLogins(t, &counted{})
	l.compare = bcrypt.CompareHashAndPassword
	long := strings.Repeat("x", maxSecret)
	path := t.TempDir() + "/users"
	if err := AddUser(path, "operator", long, Change{}); err != nil {
		t.Fatal(err)
	}
	b, err := LoadUsers(path)
	if err != nil {
		t.Fatal(err)
	}
	hash, _ := b.hashOf("nobody")
	if err := bcrypt.CompareHashAndPassword([]byte(hash), nil); !errors.Is(err, bcrypt.ErrMismatchedHashAndPassword) {
		t.Errorf("the hash of nobody: %v", err)
	}
	if who, err := l.person(t.Context(), v, b, "operator", long); err != nil || who.Name != "operator" {
		t.Errorf("%v, %v", who, err)
	}
	if _, err := l.person(t.Context(), v, b, "operator", long+"y"); !errors.Is(err, errDenied) {
		t.Errorf("a longer secret with the right beginning: %v", err)
	}
}

func TestRightPairIsRemembered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &counted{right: operatorSecret}
		l, v := testLogins(t, c)
		b := testBook(t)
		login := func(book *Book, want int) {
			t.Helper()
			if who, err := l.person(t.Context(), v, book, "operator", operatorSecret); err != nil || who.Name != "operator" {
				t.Fatalf("%v, %v", who, err)
			}
			if c.calls != want {
				t.Errorf("%d comparisons, want %d", c.calls, want)
			}
		}
		login(b, 1)
		login(b, 1)
		time.Sleep(rememberFor)
		login(b, 2)
		changed, err := Parse("users", []byte("operator:"+strings.Replace(someHash, "abc", "xyz", 1)))
		if err != nil {
			t.Fatal(err)
		}
		login(changed, 3) // a new secret: the old one must prove itself
		for key := range l.right.Len() {
			if mark := l.right.Keys()[key]; strings.Contains(string(mark[:]), "operator") {
				t.Error("what is remembered shows the pair")
			}
		}
	})
}

func TestFailuresAreSlowedDown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &counted{right: operatorSecret}
		l, v := testLogins(t, c)
		b := testBook(t)
		if _, err := l.person(t.Context(), v, b, "operator", operatorSecret); err != nil {
			t.Fatal(err)
		}
		guess := func() error {
			_, err := l.person(t.Context(), v, b, "operator", "guess")
			return err
		}
		for range failureBurst {
			if err := guess(); !errors.Is(err, errDenied) {
				t.Fatal(err)
			}
		}
		calls := c.calls
		if err := guess(); !errors.Is(err, errSlow) || c.calls != calls {
			t.Errorf("after %d failures: %v", failureBurst, err)
		}
		// Also what is remembered: a right guess must not show.
		if _, err := l.person(t.Context(), v, b, "operator", operatorSecret); !errors.Is(err, errSlow) {
			t.Errorf("the right secret while blocked: %v", err)
		}
		wait, blocked := v.blocked()
		if !blocked || wait > failureEvery {
			t.Errorf("blocked %v for %s", blocked, wait)
		}
		time.Sleep(wait)
		if _, err := l.person(t.Context(), v, b, "operator", operatorSecret); err != nil {
			t.Errorf("after %s: %v", wait, err)
		}
		// A token cannot be guessed: failures of others do not keep it out.
		if _, err := l.program(v, b, "test"); err != nil { // someSum is SHA-256 of "test"
			t.Errorf("token: %v", err)
		}
		if _, err := l.program(v, b, "tests"); !errors.Is(err, errDenied) {
			t.Errorf("wrong token: %v", err)
		}
	})
}

// Guesses that come all at once get no more tries than one after another.
func TestGuessesAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		calls, at := 0, 0
		l, v := testLogins(t, &counted{})
		l.compare = func([]byte, []byte) error {
			mu.Lock()
			calls, at = calls+1, at+1
			if at > 1 {
				t.Error("two comparisons at once")
			}
			mu.Unlock()
			time.Sleep(time.Millisecond)
			mu.Lock()
			at--
			mu.Unlock()
			return errors.New("differs")
		}
		b := testBook(t)
		outcomes := make(map[error]int)
		for range 10 {
			var all sync.WaitGroup
			for range 2 * queueMost {
				all.Go(func() {
					_, err := l.person(t.Context(), v, b, "operator", "guess")
					mu.Lock()
					outcomes[err]++
					mu.Unlock()
				})
			}
			all.Wait()
		}
		if calls != failureBurst || outcomes[errDenied] != failureBurst || outcomes[errBusy] == 0 || outcomes[errSlow] == 0 {
			t.Errorf("%d comparisons, outcomes %v; want %d", calls, outcomes, failureBurst)
		}
	})
}

func TestWhoGivesUpLeavesTheQueue(t *testing.T) {
	l, v := testLogins(t, &counted{right: operatorSecret})
	l.turn <- struct{}{} // somebody is at it
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for range 3 * queueMost {
		if _, err := l.person(ctx, v, testBook(t), "operator", operatorSecret); !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
	}
	<-l.turn
	if _, err := l.person(t.Context(), v, testBook(t), "operator", operatorSecret); err != nil {
		t.Error(err)
	}
}
