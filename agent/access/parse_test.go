package access

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const (
	someHash = "$2a$11$abcdefghijklmnopqrstuuabcdefghijklmnopqrstuvwxyz01234"
	someSum  = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
)

func TestParseEntries(t *testing.T) {
	b, err := Parse("users", []byte("\ufeff# who may\r\n\r\noperator:"+someHash+"\r\ntoken scada:"+someSum+":read\n"+
		"a.b_c@d-E9:"+strings.Replace(someHash, "$2a$", "$2y$", 1)+":read  \ntoken:"+someHash))
	if err != nil {
		t.Fatal(err)
	}
	got := fmt.Sprint(b.Entries())
	want := "[{{a.b_c@d-E9 true} false} {{operator false} false} {{scada true} true} {{token false} false}]"
	if got != want {
		t.Errorf("entries %s, want %s", got, want)
	}
}

func TestParseFaults(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"operator", "users:1:1: no colon in it; want NAME:BCRYPT-HASH or"},
		{"\n#\ntoken scada", "users:3:7: no colon in it"},
		{"an operator:" + someHash, `users:1:1: name "an operator"; want 1 to 64 of`},
		{" operator:" + someHash, `users:1:1: name " operator"`},
		{":" + someHash, `users:1:1: name ""`},
		{strings.Repeat("x", 65) + ":" + someHash, `xxx..."; want 1 to 64`},
		{"operator:secret", "users:1:10: not a bcrypt hash; make it with `weepd user add operator --replace`"},
		{"operator:$2a$05" + someHash[6:], "users:1:10: bcrypt hash of cost 5, want 10 to 14; make it with"},
		{"operator:$2a$31" + someHash[6:], "bcrypt hash of cost 31"},
		{"operator:" + someHash + "x", "not a bcrypt hash"},
		{"operator:" + someHash + ":write", `users:1:71: right "write"; want read, or nothing`},
		{"operator:" + someHash + ":read:", `right "read:"`},
		{"token scada:" + someSum[1:], "users:1:13: not the SHA-256 of a token; make one with `weepd user token scada`"},
		{"token scada:" + someSum + "0", "not the SHA-256"},
		{"token scada:" + someSum[1:] + "g", "not the SHA-256"},
		{"token token scada:" + someSum, `name "token scada"`},
		{"a:" + someHash + "\ntoken a:" + someSum, "users:2:1: name a is used twice; keep one of them (the first is in line 1)"},
		{"\xff:" + someHash, "users:1:1: not text"},
		{strings.Repeat("\n", MaxFile+1), "larger than 1048576 bytes"},
	} {
		_, err := Parse("users", []byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.60q: %v, want %s", c.text, err, c.want)
		}
		if err != nil && (strings.Contains(err.Error(), someHash[7:]) || strings.Contains(err.Error(), someSum[1:])) {
			t.Errorf("%.60q: the message repeats a hash: %v", c.text, err)
		}
	}
	_, err := Parse("users", []byte("a\nb\nc:x\n"))
	if err == nil || strings.Count(err.Error(), "users:") != 3 {
		t.Errorf("not all faults at once: %v", err)
	}
}

// Editing keeps the lines of all others as they are.
func TestEditingKeepsTheRest(t *testing.T) {
	name := rapid.StringMatching(`[A-Za-z0-9._@-]{1,8}`)
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(name, 1, 8, rapid.ID).Draw(t, "names")
		var text strings.Builder
		lines := make(map[string]string)
		for i, n := range names {
			lines[n] = n + ":" + someHash
			if i%2 == 1 {
				lines[n] = "token " + n + ":" + someSum + ":read"
			}
			fmt.Fprintf(&text, "# %s: the next\n%s\n", n, lines[n])
		}
		who := rapid.SampledFrom(append(names, "new-one")).Draw(t, "who")
		line := rapid.SampledFrom([]string{"", who + ":" + strings.Replace(someHash, "abc", "xyz", 1)}).Draw(t, "line")
		b, err := Parse("users", edited([]byte(text.String()), who, line))
		if err != nil {
			t.Fatal(err)
		}
		if b.has(who) != (line != "") {
			t.Fatalf("%s is there: %v, line %q", who, b.has(who), line)
		}
		for _, n := range names {
			if n != who && !strings.Contains(string(edited([]byte(text.String()), who, line)), "\n"+lines[n]+"\n") {
				t.Fatalf("the line of %s is lost", n)
			}
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"operator:" + someHash + ":read\n", "token scada:" + someSum + "\r\n#x\n", "\ufeff\n:", "a:b:c:d\ntoken \n", "token a:" + someSum + ":read",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := Parse("users", data)
		if err != nil {
			for line := range strings.Lines(err.Error()) {
				if !strings.HasPrefix(line, "users:") {
					t.Fatalf("a message without its place: %q", line)
				}
			}
			return
		}
		// What was read can be written and read again.
		for _, e := range b.Entries() {
			if !ValidName(e.Name) {
				t.Fatalf("name %q", e.Name)
			}
			without, err := Parse("users", edited(data, e.Name, ""))
			if err != nil || without.has(e.Name) || len(without.Entries()) != len(b.Entries())-1 {
				t.Fatalf("without %s: %v", e.Name, err)
			}
		}
	})
}
