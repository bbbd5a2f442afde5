package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/crypto/bcrypt"
)

// Bounds of the work factor of bcrypt. At least 10 is the advice of OWASP's
// Password Storage Cheat Sheet (from memory); each step doubles the time, and
// 14 takes a gateway several seconds.
const (
	MinCost = 10
	MaxCost = 14
	newCost = 11
)

// Bounds of a secret. At least 8 characters: NIST SP 800-63B section 5.1.1.2
// (from memory). bcrypt sees 72 bytes and no more (golang.org/x/crypto/bcrypt,
// ErrPasswordTooLong).
const (
	minSecret = 8
	maxSecret = 72
)

const (
	tokenBytes  = 32       // of randomness: nothing to guess, so no slow hash is needed
	tokenPrefix = "weepd_" // so that scanners for lost secrets know it
	saltAndHash = 22 + 31  // characters of a bcrypt hash behind the cost
)

type digest [sha256.Size]byte

func digestOf(s string) digest { return sha256.Sum256([]byte(s)) }

var bcryptForm = regexp.MustCompile(`^\$2[aby]\$([0-9]{2})\$[./A-Za-z0-9]{53}$`)

func costOf(hash string) (int, error) {
	parts := bcryptForm.FindStringSubmatch(hash)
	if parts == nil {
		return 0, errors.New("not a bcrypt hash")
	}
	return strconv.Atoi(parts[1])
}

// CheckSecret says what is wrong with a secret that somebody wants to use.
func CheckSecret(secret string) error {
	switch {
	case !utf8.ValidString(secret) || strings.ContainsFunc(secret, unicode.IsControl): // RFC 7617 section 2
		return errors.New("the secret holds control characters or is not UTF-8; use printable characters")
	case utf8.RuneCountInString(secret) < minSecret:
		return fmt.Errorf("the secret has fewer than %d characters; use more, four unrelated words are good", minSecret)
	case len(secret) > maxSecret:
		return fmt.Errorf("the secret is longer than %d bytes, of which bcrypt would see only these; use fewer", maxSecret)
	}
	return nil
}

func hashSecret(secret string) (string, error) {
	if err := CheckSecret(secret); err != nil {
		return "", err
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(secret), newCost)
	return string(hash), err
}

func newToken() string {
	random := make([]byte, tokenBytes)
	_, _ = rand.Read(random) // never fails, see crypto/rand
	return tokenPrefix + base64.RawURLEncoding.EncodeToString(random)
}
