package alarm

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// event is one input of a random history of a station.
type event struct {
	at  time.Duration
	raw bool
	on  bool
	key Key
	in  Input
}

func drawEvents(t *rapid.T, cfg Config) []event {
	conditions := []string{"dry", "temp-sensor", "drip-sensor"}
	var list []event
	at := time.Second
	for range rapid.IntRange(1, 60).Draw(t, "events") {
		at += rapid.SampledFrom([]time.Duration{0, 0, time.Second, 3 * time.Second, 20 * time.Second}).Draw(t, "wait")
		e := event{at: at, raw: rapid.IntRange(0, 3).Draw(t, "raw") > 0, on: rapid.IntRange(0, 2).Draw(t, "on") > 0}
		e.key = Key{rapid.SampledFrom(cfg.Glands).Draw(t, "gland"), rapid.SampledFrom(conditions).Draw(t, "condition")}
		if !e.raw {
			e.in = drawInput(t, at)
			if rapid.Bool().Draw(t, "cause") {
				e.key = rapid.SampledFrom(cfg.Causes).Draw(t, "which").key()
			}
		}
		list = append(list, e)
	}
	return list
}

func (e event) feed(b *Book) []Step {
	if e.raw {
		steps, _ := b.Feed(Raw{At: e.at, Key: e.key, Active: e.on})
		return steps
	}
	steps, _ := b.Command(e.key, e.in) // refusals are the alarm's tests' concern
	return steps
}

// TestBookLosesNothing: whatever comes, the book holds exactly those
// conditions for true that were last raised; once nothing waits any more,
// each is on the operator's list, by itself or through a cause, or set aside.
func TestBookLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := quarry()
		b, err := NewBook(cfg)
		if err != nil {
			t.Fatal(err)
		}
		truth := make(map[Key]bool)
		states := make(map[Key]State)
		var last time.Duration
		for _, e := range drawEvents(t, cfg) {
			steps := e.feed(b)
			if e.raw {
				truth[e.key] = e.on
			}
			for _, s := range steps {
				if s.At < last || s.Old != states[s.Key] {
					t.Fatalf("step %s at %s does not follow %s at %s", describe(s), s.At, states[s.Key], last)
				}
				last, states[s.Key] = s.At, s.New
			}
			checkTruth(t, b, truth)
		}
		b.Advance(last + time.Hour)
		for k, on := range truth {
			if on && !shown(b, k) {
				t.Fatalf("%s is true and not shown: %+v", k, b.Entries())
			}
		}
		checkTruth(t, restarted(t, b, cfg), truth)
	})
}

func checkTruth(t *rapid.T, b *Book, truth map[Key]bool) {
	var want []Key
	for k, on := range truth {
		if on {
			want = append(want, k)
		}
	}
	slices.SortFunc(want, compareKeys)
	if got := b.Active(); !slices.Equal(got, want) {
		t.Fatalf("the book holds %v for true, want %v", got, want)
	}
}

func shown(b *Book, k Key) bool {
	for _, e := range b.Entries() {
		if (e.Key == k || slices.Contains(e.Members, k)) && e.Alarm.Active {
			return e.Alarm.State != Normal
		}
	}
	return false
}

// TestWakingMoreOftenChangesNothing: the steps do not depend on when time is
// let pass in between.
func TestWakingMoreOftenChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := quarry()
		rare, often := mustNew(t, cfg), mustNew(t, cfg)
		var a, b []Step
		last := time.Duration(0)
		for _, e := range drawEvents(t, cfg) {
			a = append(a, e.feed(rare)...)
			for w := last; w < e.at; w += time.Second {
				b = append(b, often.Advance(w)...)
			}
			last = e.at
			b = append(b, e.feed(often)...)
		}
		same := slices.EqualFunc(a, b, func(x, y Step) bool {
			return x.Key == y.Key && x.Change == y.Change && slices.Equal(x.Members, y.Members)
		})
		if !same {
			t.Fatalf("rarely:\n%v\noften:\n%v", a, b)
		}
	})
}

func mustNew(t *rapid.T, cfg Config) *Book {
	b, err := NewBook(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
