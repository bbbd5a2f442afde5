package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules/alarm"
)

func keep(t *testing.T, dir string, opts Options) *Keeper {
	t.Helper()
	k, err := OpenKeeper(dir, opts, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.Close() }) // a test may have damaged it
	return k
}

func closeKeeper(t *testing.T, k *Keeper) {
	t.Helper()
	if err := k.Close(); err != nil {
		t.Fatal(err)
	}
}

func agentStamp(d time.Duration) agent.Stamp { return agent.Stamp(stampAt(d)) }

// batch is one of everything.
func batch(seq uint64, at time.Duration) *agent.Batch {
	shown := agent.Alarm{Gland: "a", Condition: "dry", State: "active", AlarmState: "acknowledged", Acknowledged: true, By: "operator", Seq: seq}
	entry := alarm.Entry{Key: alarm.Key{Gland: "a", Condition: "dry"}, Alarm: alarm.Alarm{State: alarm.Acknowledged, Active: true, Since: time.Second, By: "operator"}}
	return &agent.Batch{
		At: agentStamp(at),
		Events: []agent.Event{{Seq: seq, Kind: agent.EventUpkeep, Gland: "a", By: "operator", Time: stampAt(at).Wall, At: stampAt(at).Steady,
			Entry: &agent.Entry{Kind: "adjustment", Value: json.RawMessage(`{"flats":0.5}`)}, Message: "m"}},
		Alarms: []agent.KeptAlarm{{Entry: entry, Shown: shown}},
		Upkeep: []agent.Upkeep{{Seq: seq, Gland: "a", By: "operator"}},
		Done:   []agent.Done{{ID: "c1", Sum: "x", Reply: agent.Reply{OK: true}}},
	}
}

// remember opens the folder as a next run does.
func remember(t *testing.T, dir string) (*Keeper, agent.Remembered) {
	t.Helper()
	k := keep(t, dir, Options{})
	m, err := k.Remember(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return k, m
}

func put(t *testing.T, k *Keeper, b *agent.Batch) {
	t.Helper()
	if err := k.Store(t.Context(), b); err != nil {
		t.Fatal(err)
	}
}

func TestKeeperRemembersAcrossRuns(t *testing.T) {
	dir := t.TempDir()
	k, m := remember(t, dir)
	if m.Last != nil || len(m.Alarms) != 0 {
		t.Errorf("at first %+v", m)
	}
	put(t, k, batch(1, time.Hour))
	closeKeeper(t, k) // as a crash leaves it

	k, m = remember(t, dir)
	if len(m.Alarms) != 1 || m.Stopped || m.Last == nil || !m.Last.Wall.Equal(stampAt(time.Hour).Wall) {
		t.Fatalf("after a crash %+v", m)
	}
	if got, want := m.Alarms[0], batch(1, 0).Alarms[0]; got.Alarm != want.Alarm || got.Shown.By != want.Shown.By || got.Shown.Seq != 1 {
		t.Errorf("alarm %+v, want %+v", got, want)
	}
	checkStored(t, k)
	put(t, k, &agent.Batch{At: agentStamp(2 * time.Hour), Stop: true})
	closeKeeper(t, k)

	k, m = remember(t, dir)
	if !m.Stopped || !m.Last.Wall.Equal(stampAt(2*time.Hour).Wall) {
		t.Errorf("after a stop %+v", m)
	}
	gone := batch(2, -24*time.Hour) // the clock is behind now
	gone.Alarms[0].Forget, gone.Done = true, nil
	put(t, k, gone)
	if err := k.Heartbeat(agentStamp(-24 * time.Hour)); err != nil {
		t.Fatal(err)
	}
	closeKeeper(t, k)
	_, m = remember(t, dir)
	if m.Stopped || len(m.Alarms) != 0 || !m.Last.Wall.Equal(stampAt(-24*time.Hour).Wall) {
		t.Errorf("after a crash of a run under another clock %+v", m)
	}
}

// What was done at the glands is remembered, however long ago.
func TestKeeperRemembersUpkeep(t *testing.T) {
	dir := t.TempDir()
	k, _ := remember(t, dir)
	for i, e := range []struct{ gland, kind string }{
		{"a", agent.EntryRepacked}, {"b", agent.EntryRepacked}, {"a", agent.EntryRepacked}, {"a", "adjustment"}, {"c", "adjustment"},
	} {
		b := batch(uint64(i+1), time.Duration(i)*time.Hour)
		b.Done = nil
		b.Upkeep = []agent.Upkeep{{Seq: uint64(i + 1), Gland: e.gland, Time: stampAt(time.Duration(i) * time.Hour).Wall, Entry: agent.Entry{Kind: e.kind}}}
		put(t, k, b)
	}
	closeKeeper(t, k)
	_, m := remember(t, dir)
	var got []string
	for _, u := range m.Upkeep {
		got = append(got, fmt.Sprint(u.Seq, u.Gland, u.Kind))
	}
	if want := "[1arepacked 2brepacked 3arepacked 4aadjustment 5cadjustment]"; fmt.Sprint(got) != want {
		t.Errorf("upkeep %v, want %s", got, want)
	}
}

func checkStored(t *testing.T, k *Keeper) {
	t.Helper()
	if d, found, err := k.Done(t.Context(), "c1"); err != nil || !found || d != batch(1, 0).Done[0] {
		t.Errorf("done %+v, %v, %v", d, found, err)
	}
	events, err := k.Events(t.Context(), 0, 10)
	if err != nil || len(events) != 1 || events[0].Seq != 1 || events[0].By != "operator" || string(events[0].Entry.Value) != `{"flats":0.5}` {
		t.Errorf("events %+v, %v", events, err)
	}
}

// A commit whose outcome is not known is made again: nothing is there twice.
func TestKeeperStoresOnceWhatIsStoredAgain(t *testing.T) {
	k := keep(t, t.TempDir(), Options{})
	for range 3 {
		if err := k.Store(t.Context(), batch(1, 0)); err != nil {
			t.Fatal(err)
		}
	}
	more := batch(2, 0)
	more.Events = append(batch(1, 0).Events, more.Events...)
	more.Upkeep = append(batch(1, 0).Upkeep, more.Upkeep...)
	if err := k.Store(t.Context(), more); err != nil {
		t.Fatal(err)
	}
	log, err := k.store.UpkeepLog(t.Context(), "a", 0, 10)
	if events, _ := k.Events(t.Context(), 0, 10); err != nil || len(log) != 2 || len(events) != 2 || k.Undelivered() != 2 {
		t.Errorf("%d upkeep entries, %d events, %d undelivered, %v", len(log), len(events), k.Undelivered(), err)
	}
}

// Numbers that were given out while the disk was full are not given again.
func TestNumbersGivenOutUnstoredAreNotGivenAgain(t *testing.T) {
	dir, full := t.TempDir(), false
	k := keep(t, dir, Options{Fault: func(string) error {
		if full {
			return ErrFull
		}
		return nil
	}})
	ledger := agent.NewLedger(k, true, slog.New(slog.DiscardHandler))
	one := func() *agent.Batch { return &agent.Batch{Events: make([]agent.Event, 1), At: agentStamp(0)} }
	ledger.Commit(t.Context(), one())
	full = true
	for range 5 {
		ledger.Commit(t.Context(), one())
	}
	if pending, err := ledger.Pending(t.Context(), 0, 10); err != nil || len(pending) != 6 {
		t.Errorf("pending %d, %v; want all", len(pending), err)
	}
	_ = k.Close() // a power cut, with the disk still full

	k = keep(t, dir, Options{})
	ledger = agent.NewLedger(k, true, slog.New(slog.DiscardHandler))
	next := one()
	ledger.Commit(t.Context(), next)
	if next.Events[0].Seq != 7 || ledger.Trouble().Problem != "" {
		t.Errorf("goes on with %d, want 7; trouble %+v", next.Events[0].Seq, ledger.Trouble())
	}
	closeKeeper(t, k)
	k = keep(t, dir, Options{}) // the gap is no damage
	if notices := k.Notices(); len(notices) != 0 {
		t.Errorf("notices %v", notices)
	}
	if events, err := k.Events(t.Context(), 0, 10); err != nil || len(events) != 2 || events[1].Seq != 7 {
		t.Errorf("events %+v, %v", events, err)
	}
}

func TestJournalDamagedWhileRunningIsOpenedAnew(t *testing.T) {
	dir := t.TempDir()
	k := keep(t, dir, Options{})
	first := make([]agent.Event, 1000)
	agent.NewLedger(k, true, slog.New(slog.DiscardHandler)).Commit(t.Context(), &agent.Batch{Events: first, At: agentStamp(0)})
	closeKeeper(t, k) // no write-ahead log is left that could heal the file

	bad := false
	k = keep(t, dir, Options{Fault: func(word string) error {
		if bad && word == FaultCommit {
			bad = false
			return ErrCorrupt
		}
		return nil
	}})
	ledger := agent.NewLedger(k, true, slog.New(slog.DiscardHandler))
	bad = true
	overwrite(t, filepath.Join(dir, journalFile), 12*4096, make([]byte, 4096))
	second := &agent.Batch{Events: make([]agent.Event, 2), At: agentStamp(time.Minute)}
	ledger.Commit(t.Context(), second)
	if got := ledger.Trouble(); got.Problem != "" || len(got.Notices) != 1 || !strings.Contains(got.Notices[0], "journal.db was damaged") {
		t.Errorf("trouble %+v", got)
	}
	if second.Events[1].Seq != 1002 {
		t.Errorf("goes on to %d, want 1002", second.Events[1].Seq)
	}
	events, err := ledger.Events(t.Context(), 1000, 10)
	if err != nil || !slices.EqualFunc(events, second.Events, func(a, b agent.Event) bool { return a.Seq == b.Seq }) {
		t.Errorf("events %+v, %v", events, err)
	}
}

func TestKeeperWithoutADisk(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(dir, nil, 0o600); err != nil { // no folder can be made there
		t.Fatal(err)
	}
	_, err := OpenKeeper(dir, Options{}, slog.New(slog.DiscardHandler))
	if err == nil {
		t.Fatal("a file for a folder is taken")
	}
	full := true
	dir = t.TempDir()
	k := keep(t, dir, Options{Fault: func(string) error {
		if full {
			return ErrFull
		}
		return nil
	}})
	ledger := agent.NewLedger(k, true, slog.New(slog.DiscardHandler))
	one := &agent.Batch{Events: make([]agent.Event, 1), At: agentStamp(0)}
	ledger.Commit(t.Context(), one)
	if got := ledger.Trouble(); !strings.Contains(got.Problem, "disk is full") || got.Waiting != 1 || one.Events[0].Seq == 0 {
		t.Errorf("trouble %+v, event %+v", got, one.Events[0])
	}
	k.AddReadings()
	if err := k.Flush(t.Context(), agentStamp(0)); !errors.Is(err, ErrFull) {
		t.Errorf("flush: %v", err)
	}
	full = false
	k.tried = time.Time{} // the time to try again has come
	ledger.Retry(t.Context())
	if got := ledger.Trouble(); got.Problem != "" || got.Waiting != 0 {
		t.Errorf("afterwards %+v", got)
	}
	if events, err := k.Events(t.Context(), 0, 10); err != nil || len(events) != 1 || events[0].Seq != one.Events[0].Seq {
		t.Errorf("events %+v, %v", events, err)
	}
}

// A disk that is read-only from the start: the alarms are as they were.
func TestKeeperReadsWhatItCannotOpen(t *testing.T) {
	dir, refuse := t.TempDir(), false
	opts := Options{Fault: func(string) error {
		if refuse {
			return ErrReadOnly
		}
		return nil
	}}
	k := keep(t, dir, opts)
	put(t, k, batch(1, time.Hour))
	copied := copyDir(t, dir) // as a power cut leaves it
	closeKeeper(t, k)
	if err := os.Remove(filepath.Join(copied, historyFile)); err != nil { // to be made anew, which fails
		t.Fatal(err)
	}
	refuse = true
	k = keep(t, copied, opts)
	m, err := k.Remember(t.Context())
	reserved := uint64(1 + reserveBlock) // it died, and may have given out as much unnoticed
	if err != nil || len(m.Alarms) != 1 || m.Last == nil || k.Newest() != reserved {
		t.Fatalf("%+v, %v, newest %d", m, err, k.Newest())
	}
	ledger := agent.NewLedger(k, true, slog.New(slog.DiscardHandler))
	next := &agent.Batch{Events: make([]agent.Event, 1), At: agentStamp(2 * time.Hour)}
	ledger.Commit(t.Context(), next)
	if next.Events[0].Seq != reserved+1 || ledger.Trouble().Waiting != 1 {
		t.Errorf("event %d, trouble %+v", next.Events[0].Seq, ledger.Trouble())
	}
	refuse, k.tried = false, time.Time{}
	ledger.Retry(t.Context())
	if events, err := ledger.Pending(t.Context(), 0, 10); err != nil || len(events) != 2 || ledger.Trouble().Problem != "" {
		t.Errorf("afterwards %d events, %v, trouble %+v", len(events), err, ledger.Trouble())
	}
}

func TestTwoAgentsInOneFolder(t *testing.T) {
	dir := t.TempDir()
	keep(t, dir, Options{})
	if _, err := OpenKeeper(dir, Options{}, slog.New(slog.DiscardHandler)); !errors.Is(err, ErrBusy) {
		t.Errorf("got %v", err)
	}
}

// The weep of the hours comes back as it was kept, and still does once minutes
// are thinned to hours; beyond the last repacking it is not read.
func TestKeeperRemembersWeeps(t *testing.T) {
	dir := t.TempDir()
	k, _ := remember(t, dir)
	b := batch(1, 200*24*time.Hour)
	b.Upkeep = []agent.Upkeep{{Seq: 1, Gland: "a", Time: stampAt(200 * 24 * time.Hour).Wall, Entry: agent.Entry{Kind: agent.EntryRepacked}}}
	put(t, k, b)
	hour := func(day, i int) time.Time {
		return stampAt(time.Duration(24*day+i) * time.Hour).Wall.Truncate(time.Hour)
	}
	for _, day := range []int{0, 150, 250} { // long before, before and after the repacking
		for i := range 3 {
			k.Observe("a."+agent.SeriesWeep, hour(day, i), float64(30+i))
			k.Observe("a."+agent.SeriesWatched, hour(day, i), 45)
			k.Observe("a."+agent.SeriesWatched, hour(day, i), 60)
		}
	}
	k.Observe("a.dpm", hour(250, 4), 99)
	if err := k.FlushAll(t.Context(), agentStamp(251*24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	check := func(when string) {
		t.Helper()
		closeKeeper(t, k)
		var m agent.Remembered
		k, m = remember(t, dir)
		list := m.Weeps["a"]
		if len(m.Weeps) != 1 || len(list) != 6 {
			t.Fatalf("%s: %+v", when, m.Weeps)
		}
		for i, w := range list {
			want := agent.KeptWeep{To: hour(150+100*(i/3), i%3), Span: time.Hour, Watched: 45 * time.Minute, DPM: float64(30 + i%3)}
			if w != want {
				t.Errorf("%s: %+v, want %+v", when, w, want)
			}
		}
	}
	check("as minutes")
	if err := k.Maintain(t.Context(), agentStamp(400*24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	check("as hours")
}

// The minutes since a repacking come back, those before do not.
func TestKeeperRemembersARunIn(t *testing.T) {
	dir := t.TempDir()
	now := func() time.Time { return stampAt(3 * time.Hour).Wall }
	k := keep(t, dir, Options{Now: now})
	b := batch(1, time.Hour)
	b.Upkeep = []agent.Upkeep{{Seq: 1, Gland: "a", Time: stampAt(time.Hour).Wall, Entry: agent.Entry{Kind: agent.EntryRepacked}}}
	put(t, k, b)
	for i := range 180 {
		at := stampAt(time.Duration(i) * time.Minute).Wall
		k.Observe("a."+agent.SeriesDPM, at, float64(i))
		if i%2 == 0 {
			k.Observe("a."+agent.SeriesRise, at, 8)
		}
	}
	if err := k.FlushAll(t.Context(), agentStamp(3*time.Hour)); err != nil {
		t.Fatal(err)
	}
	closeKeeper(t, k)
	m, err := keep(t, dir, Options{Now: now}).Remember(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	list := m.Minutes["a"]
	if len(list) != 120 || !list[0].Time.Equal(stampAt(time.Hour).Wall) || list[0].DPM != 60 || list[0].RiseC != 8 || !math.IsNaN(list[1].RiseC) {
		t.Errorf("%d minutes, first %+v", len(list), list[:min(2, len(list))])
	}
}
