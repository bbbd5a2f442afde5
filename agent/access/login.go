package access

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/crypto/bcrypt"
)

// Why nobody was let in.
var (
	errDenied = errors.New("name, secret or token is wrong")
	errSlow   = errors.New("too many failed log-ins from this address; wait and try again")
	errBusy   = errors.New("too many log-ins at once; try again")
)

const (
	rememberMost = 256
	rememberFor  = 15 * time.Minute
	queueMost    = 8 // log-ins that wait for their turn
)

// logins verifies secrets. bcrypt runs once at a time, so that log-ins never
// take the processor from the alarms, and a pair that was right is remembered
// for a while as an HMAC under a key of this process.
type logins struct {
	compare func(hash, secret []byte) error
	key     []byte
	right   *lru.Cache[digest, time.Time]
	queue   chan struct{} // waiting or at it
	turn    chan struct{}
}

func newLogins() (*logins, error) {
	right, err := lru.New[digest, time.Time](rememberMost)
	l := &logins{
		compare: bcrypt.CompareHashAndPassword, key: make([]byte, sha256.Size), right: right,
		queue: make(chan struct{}, queueMost), turn: make(chan struct{}, 1),
	}
	_, _ = rand.Read(l.key) // never fails, see crypto/rand
	return l, err
}

// person verifies a name and secret of a visitor.
func (l *logins) person(ctx context.Context, v *visitor, b *Book, name, secret string) (Identity, error) {
	if _, blocked := v.blocked(); blocked {
		return Identity{}, errSlow
	}
	hash, who := b.hashOf(name)
	mark := l.mark(name, secret, hash)
	if since, found := l.right.Get(mark); found && time.Since(since) < rememberFor {
		return who, nil
	}
	if err := l.wait(ctx); err != nil {
		return Identity{}, err
	}
	defer l.leave()
	// Again, now that no other is at it: a burst of guesses gets no further.
	if _, blocked := v.blocked(); blocked {
		return Identity{}, errSlow
	}
	// What bcrypt does not see of a long secret must not count as right. It is
	// compared all the same, for the time that takes.
	wrong := l.compare([]byte(hash), []byte(clipTo(secret, maxSecret)))
	if wrong != nil || len(secret) > maxSecret || who.Name == "" {
		v.failures.Allow()
		return Identity{}, errDenied
	}
	l.right.Add(mark, time.Now())
	return who, nil
}

// program verifies a token. It cannot be guessed, so nobody is kept waiting.
func (l *logins) program(v *visitor, b *Book, given string) (Identity, error) {
	who, found := b.byToken(given)
	if !found {
		v.failures.Allow()
		return Identity{}, errDenied
	}
	return who, nil
}

func (l *logins) wait(ctx context.Context) error {
	select {
	case l.queue <- struct{}{}:
	default:
		return errBusy
	}
	select {
	case l.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		<-l.queue
		return ctx.Err()
	}
}

func (l *logins) leave() {
	<-l.turn
	<-l.queue
}

// mark stands for a pair and the hash that it was held against: a changed
// users file makes it worthless.
func (l *logins) mark(parts ...string) (out digest) {
	mac := hmac.New(sha256.New, l.key)
	for _, part := range parts {
		_, _ = mac.Write(binary.BigEndian.AppendUint64(nil, uint64(len(part))))
		_, _ = mac.Write([]byte(part))
	}
	mac.Sum(out[:0])
	return out
}
