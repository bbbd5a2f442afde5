package access

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// MaxFile bounds a users file, in bytes: some ten thousand entries.
const MaxFile = 1 << 20

const (
	tokenWord = "token "
	readWord  = "read"
	lineWant  = "want NAME:BCRYPT-HASH or token NAME:SHA256-HEX, with :read behind for one who may not command"
)

// Parse reads a users file; name stands for it in errors. A line is
//
//	NAME:BCRYPT-HASH          a person
//	token NAME:SHA256-HEX     a program
//
// with `:read` behind for one who may read but not command. Empty lines and
// lines that begin with # are comments. Every fault is reported, each as
// FILE:LINE:COLUMN: what; what to do. No message repeats a hash.
func Parse(name string, data []byte) (*Book, error) {
	if len(data) > MaxFile {
		return nil, fmt.Errorf("%s:1:1: larger than %d bytes; check that this is the right file", name, MaxFile)
	}
	b := &Book{people: make(map[string]person)}
	var errs []error
	lines := make(map[string]int) // by name
	number := 0
	for line := range strings.Lines(strings.TrimPrefix(string(data), "\ufeff")) {
		number++
		text := strings.TrimRight(line, "\r\n \t")
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		who, err := b.line(text)
		if err == nil && lines[who] > 0 {
			err = fault(1, fmt.Sprintf("name %s is used twice", who), fmt.Sprintf("keep one of them (the first is in line %d)", lines[who]))
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("%s:%d:%w", name, number, err))
			continue
		}
		lines[who] = number
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return b, nil
}

func fault(column int, what, do string) error { return fmt.Errorf("%d: %s; %s", column, what, do) }

// line takes one entry and gives its name.
func (b *Book) line(text string) (string, error) {
	if !utf8.ValidString(text) {
		return "", fault(1, "not text", lineWant)
	}
	rest, isToken := strings.CutPrefix(text, tokenWord)
	begin := len(text) - len(rest) + 1
	name, secret, found := strings.Cut(rest, ":")
	if !found {
		return "", fault(begin, "no colon in it", lineWant)
	}
	if !ValidName(name) {
		return "", fault(begin, "name "+strconv.Quote(clip(name)), "want "+nameWant)
	}
	at := begin + len(name) + 1
	secret, right, limited := strings.Cut(secret, ":")
	if limited && right != readWord {
		return "", fault(at+len(secret)+1, "right "+strconv.Quote(clip(right)), "want read, or nothing for one who may command")
	}
	who := Identity{Name: name, ReadOnly: limited}
	if isToken {
		return name, b.addToken(who, secret, at)
	}
	return name, b.addPerson(who, secret, at)
}

func (b *Book) addToken(who Identity, sum string, at int) error {
	t := token{Identity: who}
	if n, err := hex.Decode(t.sum[:], []byte(clipTo(sum, 2*len(t.sum)))); err != nil || n != len(t.sum) || len(sum) != 2*len(t.sum) {
		return fault(at, "not the SHA-256 of a token", "make one with `weepd user token "+who.Name+"`")
	}
	b.tokens = append(b.tokens, t)
	return nil
}

func (b *Book) addPerson(who Identity, hash string, at int) error {
	remake := "make it with `weepd user add " + who.Name + " --replace`"
	cost, err := costOf(hash)
	if err != nil {
		return fault(at, err.Error(), remake)
	}
	if cost < MinCost || cost > MaxCost {
		return fault(at, fmt.Sprintf("bcrypt hash of cost %d, want %d to %d", cost, MinCost, MaxCost), remake)
	}
	b.people[who.Name] = person{who, hash}
	b.cost = max(b.cost, cost)
	return nil
}

const maxExcerpt = 40

func clip(s string) string {
	if short := clipTo(s, maxExcerpt); short != s {
		return short + "..."
	}
	return s
}

func clipTo(s string, most int) string { return s[:min(len(s), most)] }
