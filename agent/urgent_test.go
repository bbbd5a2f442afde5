package agent

import (
	"context"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

// orderJournal notes when the loop goes to the disk.
type orderJournal struct {
	*MemoryJournal
	note func(string)
}

func (j orderJournal) Commit(ctx context.Context, b *Batch) {
	if len(b.Events) > 0 {
		j.note("stored")
	}
	j.MemoryJournal.Commit(ctx, b)
}

// rushed runs an agent whose first drops raise `dry`, with a publisher that
// takes what is urgent, and gives what happened in which order.
func rushed(t *testing.T, publisher func(a *Agent, note func(string))) (order []string, took time.Duration) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		var began time.Time
		note := func(what string) {
			mu.Lock()
			defer mu.Unlock()
			if what == "stored" && !began.IsZero() {
				took = time.Since(began)
			}
			order = append(order, what)
		}
		b := start(t, nil, orderJournal{NewMemoryJournal(100, true), note}, func(c *Clock) []Feed {
			return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				time.Sleep(time.Second)
				mu.Lock()
				began = time.Now()
				mu.Unlock()
				emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 666})
				return steadyDrips(ctx, c, emit)
			}})}
		})
		go publisher(b.agent, note)
		time.Sleep(3 * time.Second)
		if a := b.agent.Board().Latest().Alarms[rules.Dry]; !a.Active() {
			t.Errorf("the snapshot has %+v", a)
		}
		if err := b.stop(); err != nil {
			t.Error(err)
		}
	})
	return order, took
}

func TestAlarmIsHandedOverBeforeTheDiskIsAsked(t *testing.T) {
	order, took := rushed(t, func(a *Agent, note func(string)) {
		u := <-a.Board().Urgent()
		if len(u.Alarms) != 1 || u.Alarms[0].Condition != "dry" || !u.Alarms[0].Active() {
			t.Errorf("urgent: %+v", u.Alarms)
		}
		time.Sleep(urgentWait / 2)
		note("sent")
		u.Sent()
		u.Sent() // twice does no harm
	})
	if !slices.Equal(order, []string{"sent", "stored"}) || took != urgentWait/2 {
		t.Errorf("%v, stored after %s; want it sent, then stored at once", order, took)
	}
}

func TestPublisherThatNeverSendsHoldsTheLoopForABound(t *testing.T) {
	order, took := rushed(t, func(a *Agent, note func(string)) {
		<-a.Board().Urgent()
		note("taken")
	})
	if !slices.Equal(order, []string{"taken", "stored"}) || took != urgentWait {
		t.Errorf("%v, stored after %s; want %s", order, took, urgentWait)
	}
}

func TestNobodyWaitsForABusyPublisher(t *testing.T) {
	order, took := rushed(t, func(*Agent, func(string)) {})
	if !slices.Equal(order, []string{"stored"}) || took != 0 {
		t.Errorf("%v, stored after %s; want it at once", order, took)
	}
}

// An alarm that is taken leave of, because its gland is configured no more, is
// not handed over, least of all under another's name.
func TestForgottenAlarmIsNotHandedOver(t *testing.T) {
	b := NewBoard()
	waiting := b.urgent
	key := alarm.Key{Gland: "a", Condition: "dry"}
	l := &loop{agent: &Agent{board: b}, alarms: []Alarm{{Gland: "a", Condition: "dry"}}, alarmAt: map[alarm.Key]int{key: 0}}
	l.batch.Alarms = []KeptAlarm{
		{Entry: alarm.Entry{Key: alarm.Key{Gland: "gone", Condition: "leaking"}}, Forget: true},
		{Entry: alarm.Entry{Key: key}},
	}
	got := make(chan Urgent, 1)
	go func() {
		u := <-waiting
		u.Sent()
		got <- u
	}()
	for len(got) == 0 { // until it waits
		l.rushed = 0
		l.rush()
	}
	if u := <-got; len(u.Alarms) != 1 || u.Alarms[0].Gland != "a" {
		t.Errorf("handed over %+v", u.Alarms)
	}
}
