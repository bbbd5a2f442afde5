package access

import (
	"crypto/subtle"
	"fmt"
	"slices"
	"strings"
)

// Identity is who was let in.
type Identity struct {
	Name     string
	ReadOnly bool // may read, not command
}

// Book is what a users file says.
type Book struct {
	people map[string]person
	tokens []token
	cost   int // the highest of the file
}

type person struct {
	Identity
	hash string // bcrypt
}

type token struct {
	Identity
	sum digest // SHA-256
}

// MaxName bounds a name, in bytes.
const MaxName = 64

// ValidName reports whether a name fits `[A-Za-z0-9._@-]{1,64}`. RFC 7617
// section 2 keeps the colon out.
func ValidName(name string) bool {
	return name != "" && len(name) <= MaxName && strings.IndexFunc(name, func(r rune) bool {
		alnum := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
		return !alnum && !strings.ContainsRune("._@-", r)
	}) < 0
}

const nameWant = "1 to 64 of A-Z a-z 0-9 . _ @ -"

// Entry is a line of the users file for people.
type Entry struct {
	Identity
	Token bool
}

// Entries lists everybody by name.
func (b *Book) Entries() []Entry {
	var out []Entry
	for _, p := range b.people {
		out = append(out, Entry{p.Identity, false})
	}
	for _, t := range b.tokens {
		out = append(out, Entry{t.Identity, true})
	}
	slices.SortFunc(out, func(a, b Entry) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func (b *Book) has(name string) bool {
	return slices.ContainsFunc(b.Entries(), func(e Entry) bool { return e.Name == name })
}

// hashOf gives the hash to compare a secret with. For a name that does not
// exist it is one that fits no secret and costs the same to compare.
func (b *Book) hashOf(name string) (hash string, who Identity) {
	if p, found := b.people[name]; found {
		return p.hash, p.Identity
	}
	return fmt.Sprintf("$2a$%02d$%s", max(b.cost, MinCost), strings.Repeat(".", saltAndHash)), Identity{}
}

// byToken looks at every token, so that the time tells nothing.
func (b *Book) byToken(given string) (who Identity, found bool) {
	sum := digestOf(given)
	for _, t := range b.tokens {
		if subtle.ConstantTimeCompare(sum[:], t.sum[:]) == 1 {
			who, found = t.Identity, true
		}
	}
	return who, found
}
