package agent

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"weepd/rules"
	"weepd/rules/reading"
)

func TestCommandsAreRefusedWithTheReason(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		l := liveOn(t, disk, &wallClock{})
		l.script.say(666)
		time.Sleep(2 * time.Second)
		for i, c := range []struct {
			action string
			more   []string
			reason string
			says   string
		}{
			{"acknowledge", []string{"by="}, "no-name", "by is missing"},
			{"acknowledge", []string{"by=  "}, "no-name", "by is missing"},
			{"silence", nil, "malformed", "want acknowledge, reset, shelve, unshelve, remove, restore or record"},
			{"raise", nil, "malformed", `no action "raise"`},
			{"acknowledge", []string{"gland=p9"}, "unknown-alarm", `no gland "p9"; the glands are a`},
			{"acknowledge", []string{"condition=wet"}, "unknown-alarm", "the conditions are burning, dry, gushing"},
			{"acknowledge", []string{"condition=leaking"}, "wrong-state", "a/leaking: acknowledge refused: the alarm is normal"},
			{"shelve", nil, "no-end", "say when the shelf ends"},
			{"shelve", []string{"for=0s"}, "end-past", "not in the future"},
			{"shelve", []string{"for=-1h"}, "end-past", "not in the future"},
			{"shelve", []string{"for=61m"}, "too-long", "the longest shelf is 1h0m0s"},
			{"shelve", []string{"for=2562047h"}, "too-long", "the longest shelf"},
			{"shelve", []string{"for=a while"}, "malformed", "want a duration such as 8h"},
			{"unshelve", nil, "wrong-state", "the alarm is unacknowledged"},
			{"restore", nil, "wrong-state", "the alarm is unacknowledged"},
			{"reset", nil, "still-active", "still true"},
			{"acknowledge", []string{"for=1h"}, "malformed", "for belongs to shelve"},
			{"remove", []string{"kind=x"}, "malformed", "belong to record"},
			{"record", nil, "malformed", "kind is missing"},
			{"record", []string{"kind=x"}, "malformed", "condition and for do not belong to record"},
			{"record", []string{"gland=p9", "kind=x"}, "unknown-alarm", `no gland "p9"`},
		} {
			id := "bad-" + string(rune('a'+i))
			got := l.command(t, id, c.action, c.more...)
			if got.OK || got.Reason != c.reason || !strings.Contains(got.Error, c.says) {
				t.Errorf("%s %v: %+v, want %s and %q", c.action, c.more, got, c.reason, c.says)
			}
			if again := l.command(t, id, c.action, c.more...); again != got {
				t.Errorf("%s %v again: %+v, want %+v", c.action, c.more, again, got)
			}
		}
		l.die(t, disk, false)
		wantEvents(t, disk, raised)
	})
}

func TestCommandIsDoneOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		l := liveOn(t, disk, &wallClock{})
		for range 3 {
			if r := l.command(t, "r1", "record", "condition=", "kind=adjusted", `value={"flats":0.5}`, "note=half a flat"); !r.OK {
				t.Fatal(r)
			}
		}
		if r := l.command(t, "r1", "record", "condition=", "kind=repack"); r.Reason != ReasonIDUsed {
			t.Errorf("the id for another command: %+v", r)
		}
		l.die(t, disk, false)
		wantEvents(t, disk, EventUpkeep)
		text, err := json.Marshal(disk.stored()[0])
		for _, want := range []string{`"gland":"a"`, `"by":"operator"`, `"note":"half a flat"`, `"entry":{"kind":"adjusted","value":{"flats":0.5}}`, `"command":"r1"`} {
			if err != nil || !strings.Contains(string(text), want) {
				t.Errorf("no %s in %s", want, text)
			}
		}
		if u := disk.upkeep; len(u) != 1 || u[0].Seq != 1 || u[0].By != "operator" || string(u[0].Value) != `{"flats":0.5}` {
			t.Errorf("upkeep log %+v", u)
		}
	})
}

func TestLifeOfAnAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		l := liveOn(t, disk, &wallClock{}, func(o *Options) { o.Alarms.Latched = []string{"dry"} })
		do := func(id, action string, more ...string) {
			t.Helper()
			if r := l.command(t, id, action, more...); !r.OK {
				t.Errorf("%s: %+v", action, r)
			}
		}
		l.script.say(666)
		time.Sleep(2 * time.Second)
		l.script.say(667)
		time.Sleep(2 * time.Second)
		if r := l.command(t, "1", "reset"); r.Reason != "not-acknowledged" {
			t.Errorf("reset before the acknowledgement: %+v", r)
		}
		do("2", "acknowledge")
		if a := l.dry(); a.AlarmState != "latched" || !a.Acknowledged || a.Active() {
			t.Errorf("latched: %+v", a)
		}
		do("3", "reset")
		do("4", "remove", "note=bearing work")
		l.script.say(666)
		time.Sleep(2 * time.Second)
		if a := l.dry(); a.AlarmState != "out-of-service" || !a.Active() || a.Note != "bearing work" {
			t.Errorf("out of service: %+v", a)
		}
		do("5", "restore")
		do("6", "shelve", "for=10m")
		do("7", "unshelve")
		l.die(t, disk, false)
		wantEvents(t, disk, raised, "unacknowledged>latched cleared", "latched>latched cleared", "latched>normal cleared",
			"normal>out-of-service cleared", "out-of-service>out-of-service active", "out-of-service>unacknowledged active",
			"unacknowledged>shelved active", "shelved>unacknowledged active")
		if got := l.agent.Board().Latest().Transitions; got[TransitionKey{"a", "dry", "active"}] != 2 || got[TransitionKey{"a", "dry", "cleared"}] != 1 {
			t.Errorf("transitions %v: people's deeds do not count", got)
		}
	})
}

// The agent answers while it stops, and a command that was not done can be
// sent again.
func TestCommandToAnAgentThatHasStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		l := liveOn(t, disk, &wallClock{})
		l.die(t, disk, false)
		if r := l.command(t, "c1", "acknowledge"); r.Reason != ReasonBusy {
			t.Errorf("%+v", r)
		}
		if len(disk.done) != 0 {
			t.Errorf("remembered as done: %v", disk.done)
		}
	})
}

func TestParseCommandRefuses(t *testing.T) {
	long := func(n int) string { return strings.Repeat("x", n) }
	for text, says := range map[string]string{
		``:                                   "ends too early",
		`{`:                                  "ends too early",
		`[]`:                                 "is a array",
		`null`:                               "id is missing",
		`{"id":"a","action":7}`:              "action is a number, want string",
		`{"id":"a","colour":"red"}`:          `unknown field "colour"`,
		`{"id":"a"} {"id":"b"}`:              "followed by more",
		`{"action":"acknowledge"}`:           "id is missing",
		`{"id":"a/b"}`:                       "id is not allowed",
		`{"id":"+"}`:                         "id is not allowed",
		`{"id":"` + long(65) + `"}`:          "id is not allowed",
		`{"id":"a","by":"` + long(65) + `"}`: "by has 65 characters; want at most 64",
		`{"id":"a","note":"x\ny"}`:           "note has line breaks",
		`{"id":"a","value":"` + long(1100) + `"}`:      "value has",
		`{"id":"a","note":"` + long(MaxCommand) + `"}`: "want at most 4096",
	} {
		c, refused := ParseCommand([]byte(text))
		if refused == nil || !strings.Contains(refused.Error, says) {
			t.Errorf("%.60s: %+v, want %q", text, refused, says)
		}
		if strings.HasPrefix(text, `{"id":"a",`) && len(text) <= MaxCommand && c.ID != "a" {
			t.Errorf("%.60s: id %q is lost, so nobody gets the reply", text, c.ID)
		}
	}
}

func FuzzParseCommand(f *testing.F) {
	f.Add([]byte(`{"id":"c1","action":"shelve","gland":"p1-de","condition":"dry","by":"M. Weaver","for":"8h","note":"packing ordered"}`))
	f.Add([]byte(`{"id":"r1","action":"record","gland":"p1-de","by":"x","kind":"adjusted","value":{"flats":[1,2]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, refused := ParseCommand(data)
		if refused == nil && (!ValidCommandID(c.ID) || strings.Count(c.Canonical("s"), "\n") != 11) {
			t.Errorf("taken: %q", data)
		}
	})
}

// Two commands with the same canonical text are the same command.
func TestCanonicalTextTellsCommandsApart(t *testing.T) {
	field := rapid.StringMatching(`[a-z]{0,3}`)
	draw := rapid.Custom(func(t *rapid.T) Command {
		return Command{ID: field.Draw(t, "id"), Action: field.Draw(t, "action"), Gland: field.Draw(t, "gland"), Condition: field.Draw(t, "condition"),
			By: field.Draw(t, "by"), For: field.Draw(t, "for"), Kind: field.Draw(t, "kind"), Note: field.Draw(t, "note"), Time: field.Draw(t, "time")}
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw.Draw(t, "a"), draw.Draw(t, "b")
		x, _ := json.Marshal(a)
		y, _ := json.Marshal(b)
		if (string(x) == string(y)) != (a.Canonical("s") == b.Canonical("s")) {
			t.Fatalf("%s and %s", x, y)
		}
	})
}

// manyGlands is a core whose sensor faults a test raises.
func TestLostSupplyIsOneAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		var glands []GlandInfo
		for _, id := range []string{"p1", "p2", "p3", "p4"} {
			glands = append(glands, GlandInfo{Name: id, Rules: rules.GlandConfig{ID: id, Fitted: rules.Fitted{reading.Drip: true}}})
		}
		l := liveOn(t, disk, &wallClock{}, func(o *Options) { o.Glands, o.Feeds = glands, nil })
		fault := func(at time.Duration, gland string, active bool) {
			l.agent.loop.judge(rules.Transition{At: at, Gland: gland, Condition: rules.DripSensor, Active: active, Message: "No answer."})
		}
		if err := l.stop(); err != nil { // from here on the loop is the test's
			t.Fatal(err)
		}
		lo, now := l.agent.loop, l.clock.Steady()
		settled := func(at time.Duration) *Snapshot {
			lo.take(lo.book.Advance(at), Command{})
			lo.save(t.Context(), at)
			lo.publish(at)
			return l.agent.Board().Latest()
		}
		for i, g := range []string{"p1", "p2", "p3", "p4"} {
			fault(now+time.Duration(i)*time.Second, g, true)
		}
		s := settled(now + 15*time.Second)
		i := slices.IndexFunc(s.Alarms, func(a Alarm) bool { return a.Gland == causeSupply })
		if a := s.Alarms[i]; !a.Active() || a.AlarmState != "unacknowledged" || len(a.Members) != 4 || a.Priority != "low" {
			t.Errorf("cause %+v", a)
		}
		for g := range 4 {
			if a := s.Alarms[g*int(rules.Conditions)+int(rules.DripSensor)]; !a.Active() || a.AlarmState != "normal" || a.Cause != "shared.supply/drip-sensor" {
				t.Errorf("member %+v", a)
			}
		}
		if len(disk.stored()) != 1 || disk.stored()[0].Members[0] != "p1/drip-sensor" {
			t.Errorf("events %+v, want one", disk.stored())
		}
		for i, g := range []string{"p1", "p2", "p3", "p4"} {
			fault(now+time.Minute+time.Duration(i)*time.Second, g, false)
		}
		s = settled(now + 2*time.Minute)
		for _, a := range s.Alarms {
			if a.Active() || a.Cause != "" {
				t.Errorf("afterwards %+v", a)
			}
		}
	})
}
