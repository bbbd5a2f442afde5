package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"weepd/rules/advice"
)

const adviceCorpus = "../../testdata/advice"

// TestAdviceCorpus holds every file of advice to its *.want: the faults, or the
// texts of good-*.
func TestAdviceCorpus(t *testing.T) {
	paths, err := filepath.Glob(adviceCorpus + "/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no corpus: %v", err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			texts, faults := ParseAdvice(filepath.Base(path), data)
			if good := strings.HasPrefix(name, "good-"); good != (len(faults) == 0) || good != (texts != nil) {
				t.Errorf("good %v, texts %v, faults:\n%v", good, texts, faults)
			}
			got := faults.Error() + "\n"
			if texts != nil {
				got = fmt.Sprintf("%+v\n", texts)
			}
			matchWant(t, strings.TrimSuffix(path, ".yaml")+".want", got)
		})
	}
}

// TestOwnAdviceFallsBack: what the station's file leaves out keeps our text.
func TestOwnAdviceFallsBack(t *testing.T) {
	cfg := &Config{AdviceFile: adviceCorpus + "/good-own.yaml"}
	own, err := cfg.Advice()
	if err != nil {
		t.Fatal(err)
	}
	ours, err := (&Config{}).Advice()
	if err != nil {
		t.Fatal(err)
	}
	if s := own.For("leaking").Summary; s != "More weep than allowed. Call the fitter of pump house 2." {
		t.Errorf("leaking: %q", s)
	}
	if got, want := own.For("burning"), ours.For("burning"); got.Summary != want.Summary || len(got.Steps) != len(want.Steps) {
		t.Errorf("burning: %+v", got)
	}
	for _, c := range append(advice.Conditions(), "no-such") {
		cautions := own.For(c).Cautions
		for _, standing := range advice.Standing() {
			if !slices.Contains(cautions, standing) {
				t.Errorf("%s lacks %q", c, standing)
			}
		}
	}
	_, err = (&Config{AdviceFile: adviceCorpus + "/no-such.yaml"}).Advice()
	if err == nil || !strings.Contains(err.Error(), "no-such.yaml:1:1: cannot be opened") {
		t.Errorf("error %v", err)
	}
}

// lines gives all that a text tells.
func lines(text advice.Text) []string {
	all := append([]string{text.Summary}, text.Cautions...)
	for _, s := range text.Steps {
		all = append(all, s.Do, s.Caution)
	}
	return all
}

// TestOurAdvice: every condition has a text; each step has a source, nothing
// forbidden is told, and the cautions of the trade are there, in order.
func TestOurAdvice(t *testing.T) {
	book, err := DefaultAdvice()
	if err != nil {
		t.Fatal(err)
	}
	source := regexp.MustCompile(`TM 5-4210|MIL-|NAVEDTRA|NAVFAC|DOE-HDBK|Karassik|STCW|^common practice, no source$|^the product's own rule$`)
	for _, c := range advice.Conditions() {
		text := book.For(c)
		if text.Summary == "" || len(text.Steps) < 3 {
			t.Errorf("%s: %+v", c, text)
		}
		for _, line := range lines(text) {
			if why := forbiddenAdvice(line); why != "" {
				t.Errorf("%s: %q %s", c, line, why)
			}
		}
		for _, s := range text.Steps {
			if !source.MatchString(s.Source) {
				t.Errorf("%s: %q comes from %q", c, s.Do, s.Source)
			}
		}
		if c != "temp-sensor" && c != "drip-sensor" && !regexp.MustCompile(`instructions|lock-out`).MatchString(text.Summary) {
			t.Errorf("%s: %q defers to nobody", c, text.Summary)
		}
	}
	for condition, order := range map[string][]string{
		"burning":                {"stopped", "let it cool", "flush", "locked out, loosen", "start again", "repack"},
		"dry":                    {"does it weep", "warm", "flush", "suction lift", "repack"},
		"gushing":                {"clear", "lock it out", "lantern ring", "sleeve", "repack"},
		"leaking":                {"no more than warm", "evenly: one flat", "wait after each flat", "do not aim at no weep", "record", "worn sleeve", "repack"},
		"adjustment-ineffective": {"do not tighten further", "take-up", "lantern ring", "worn sleeve", "repack"},
		"repack-due":             {"sheet", "lock it out", "beyond the lantern ring", "sleeve", "staggered", "finger-tight", "10 to 15 minutes"},
		"temp-sensor":            {"outside the guards", "weepd points", "mend"},
		"drip-sensor":            {"outside the guards", "funnel", "clean", "--count"},
	} {
		inOrder(t, condition, book.For(condition), order)
	}
}

func inOrder(t *testing.T, condition string, text advice.Text, order []string) {
	t.Helper()
	var told []string
	for _, s := range text.Steps {
		told = append(told, s.Do)
	}
	rest := strings.ToLower(strings.Join(told, "\n"))
	for _, want := range order {
		_, after, found := strings.Cut(rest, want)
		if !found {
			t.Errorf("%s: no %q where it belongs", condition, want)
			return
		}
		rest = after
	}
}

// FuzzAdvice: no input panics; each gives texts that hold nothing forbidden, or
// faults in order with a place inside the file.
func FuzzAdvice(f *testing.F) {
	paths, err := filepath.Glob(adviceCorpus + "/*.yaml")
	if err != nil || len(paths) == 0 {
		f.Fatalf("no corpus: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add(AdviceTemplate)
	shape := regexp.MustCompile(`^x\.yaml:[1-9]\d*:[1-9]\d*: .+; .+$`)
	f.Fuzz(func(t *testing.T, data []byte) {
		texts, faults := ParseAdvice("x.yaml", data)
		if (texts == nil) != (len(faults) > 0) {
			t.Fatalf("texts %v beside faults %v", texts, faults)
		}
		for c, text := range texts {
			if !slices.Contains(advice.Conditions(), c) || text.Summary == "" || len(text.Steps) == 0 {
				t.Errorf("%s: %+v", c, text)
			}
			for _, line := range lines(text) {
				if why := forbiddenAdvice(line); why != "" {
					t.Errorf("accepted %q, which %s", line, why)
				}
			}
		}
		for _, fault := range faults {
			if text := fault.String(); !shape.MatchString(text) || strings.ContainsFunc(text, unicode.IsControl) {
				t.Errorf("fault %q is not FILE:LINE:COLUMN: what; what to do", text)
			}
		}
	})
}
