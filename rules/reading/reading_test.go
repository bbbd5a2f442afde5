package reading

import (
	"strings"
	"testing"
)

func TestPointsReadBack(t *testing.T) {
	for _, k := range []Kind{Drip, Temp, Ref, Run, Watch, Repacked, Adjusted} {
		p := Point{Gland: "p1-de_2", Kind: k}
		got, err := ParsePoint(p.String())
		if err != nil || got != p {
			t.Errorf("%s: %v, %v", p, got, err)
		}
		if mark := k >= Kinds; k.Mark() != mark {
			t.Errorf("%s: a mark: %v", k, !mark)
		}
	}
}

func TestWrongPoints(t *testing.T) {
	for s, want := range map[string]string{
		"p1":                              "want <gland>.drip",
		"p1.drop":                         "want drip, temp, ref or run",
		".drip":                           "gland id",
		"p 1.drip":                        "gland id",
		"pü.drip":                         "gland id",
		strings.Repeat("a", 33) + ".temp": "1 to 32",
		"p1.temp.temp":                    "want drip, temp, ref or run",
	} {
		if _, err := ParsePoint(s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q in it", s, err, want)
		}
	}
}

func TestQualities(t *testing.T) {
	seen := map[string]bool{}
	for q := range qualities {
		if name := q.String(); name == "" || seen[name] {
			t.Errorf("quality %d is called %q", q, name)
		}
		seen[q.String()] = true
		if q.OK() != (q == Good || q == Inferred) {
			t.Errorf("%s: OK is %v", q, q.OK())
		}
	}
}

func FuzzParsePoint(f *testing.F) {
	f.Add("p1-de.drip")
	f.Add("p1..temp")
	f.Fuzz(func(t *testing.T, s string) {
		if p, err := ParsePoint(s); err == nil && p.String() != s {
			t.Errorf("%q became %q", s, p)
		}
	})
}
