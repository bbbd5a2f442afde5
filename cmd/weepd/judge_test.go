package main

import (
	"compress/gzip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weepd/rules"
)

func TestJudge(t *testing.T) {
	start := time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC)
	minute := func(m float64) time.Time { return start.Add(time.Duration(m * float64(time.Minute))) }
	raised := func(m float64, c rules.Condition) rules.Transition {
		return rules.Transition{At: time.Duration(minute(m).UnixNano()), Condition: c, Active: true}
	}
	leak := knownEvent{Condition: "leaking or gushing", Onset: minute(9), From: minute(10), By: minute(20)}
	quiet := []quietSpan{{"leaking or gushing", minute(0), minute(10)}, {"dry", minute(0), minute(60)}}
	for _, c := range []struct {
		name   string
		raised []rules.Transition
		want   caseCount
		delay  string
	}{
		{"in time", []rules.Transition{raised(12, rules.Gushing), raised(30, rules.Leaking)}, caseCount{}, "180.0s"},
		{"at the first instant", []rules.Transition{raised(10, rules.Leaking)}, caseCount{}, "60.0s"},
		{"at the last instant", []rules.Transition{raised(20, rules.Leaking)}, caseCount{}, "660.0s"},
		{"never", nil, caseCount{Missed: 1}, ""},
		{"late", []rules.Transition{raised(20.1, rules.Leaking)}, caseCount{Late: 1}, "666.0s"},
		{"too early", []rules.Transition{raised(9.99, rules.Leaking)}, caseCount{Missed: 1, False: 1}, ""},
		{"another condition", []rules.Transition{raised(12, rules.Leaking), raised(12, rules.Dry)}, caseCount{False: 1}, "180.0s"},
		{"after the span", []rules.Transition{raised(12, rules.Leaking), raised(60, rules.Dry)}, caseCount{}, "180.0s"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got caseCount
			verdicts := judge(knownCase{Events: []knownEvent{leak}, MustNot: quiet}, c.raised, &got)
			c.want.Cases, c.want.Events = 1, 1
			if got != c.want || verdicts[0].delay != c.delay {
				t.Errorf("got %+v, want %+v; verdicts %+v", got, c.want, verdicts)
			}
		})
	}
}

// A quiet gland passes, a made-up event is missed: the whole way from files to
// the exit code.
func TestCasesCommand(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("calm.yaml", "station: quarry\nglands:\n  - id: p1-de\n")
	packed, err := os.Create(filepath.Join(dir, "calm.csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(packed)
	_, err = z.Write([]byte(steadyDrops("p1-de")))
	for _, err := range []error{err, z.Close(), packed.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	const span = `{"condition":"dry","from":"2025-03-01T12:00:00Z","to":"2025-03-01T12:05:00Z"}`
	write("cases.json", `[{"case":"calm","gland":"p1-de","events":[],"must_not":[`+span+`]}]`)
	got := weepd(t, "", "cases", dir)
	if got.code != exitDone || !strings.HasSuffix(got.out, `{"cases":1,"events":0,"missed":0,"late":0,"false":0}`+"\n") {
		t.Errorf("%+v", got)
	}
	write("cases.json", `[{"case":"calm","gland":"p1-de","must_not":[],"events":[{"condition":"burning",
		"onset":"2025-03-01T12:00:00Z","may_alarm_from":"2025-03-01T12:00:00Z","must_alarm_by":"2025-03-01T12:05:00Z","optimum_s":3}]}]`)
	got = weepd(t, "", "cases", dir)
	if got.code != exitFault || !strings.HasSuffix(got.out, `{"cases":1,"events":1,"missed":1,"late":0,"false":0}`+"\n") {
		t.Errorf("%+v", got)
	}
	for _, bad := range []string{"", "{}", `[{"case":"../calm"}]`, `[{"case":"none"}]`} {
		write("cases.json", bad)
		if got := weepd(t, "", "cases", dir); got.code != exitFault {
			t.Errorf("%q: %+v", bad, got)
		}
	}
}
