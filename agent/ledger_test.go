package agent

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// Ways of a fakeDisk.
const (
	diskWorks   = iota
	diskRefuses // nothing is written
	diskLies    // everything is written, and an error comes back
)

var errDisk = errors.New("no space left")

// fakeDisk keeps in memory what must survive, and refuses what a real one
// could not make sense of.
type fakeDisk struct {
	minutes   map[string][]KeptMinute
	mu        sync.Mutex
	mode      int
	events    []Event
	alarms    map[string]KeptAlarm
	done      map[string]Done
	upkeep    []Upkeep
	delivered uint64
	given     uint64
	stopped   bool
	last      Stamp
	notices   []string
}

func (d *fakeDisk) set(mode int) { d.mu.Lock(); defer d.mu.Unlock(); d.mode = mode }

func (d *fakeDisk) stored() []Event { d.mu.Lock(); defer d.mu.Unlock(); return slices.Clone(d.events) }

func (d *fakeDisk) gaveOut() uint64 { d.mu.Lock(); defer d.mu.Unlock(); return d.given }

func (d *fakeDisk) kept(key string) KeptAlarm { d.mu.Lock(); defer d.mu.Unlock(); return d.alarms[key] }

func (d *fakeDisk) newest() uint64 {
	if n := len(d.events); n > 0 {
		return d.events[n-1].Seq
	}
	return 0
}

func (d *fakeDisk) Store(_ context.Context, b *Batch) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.mode == diskRefuses {
		return errDisk
	}
	before := d.newest()
	for _, e := range b.Events {
		if e.Seq > d.newest() {
			d.events = append(d.events, e)
		}
	}
	for _, u := range b.Upkeep {
		if u.Seq > before {
			d.upkeep = append(d.upkeep, u)
		}
	}
	for _, k := range b.Alarms {
		if d.alarms == nil {
			d.alarms = make(map[string]KeptAlarm)
		}
		if d.alarms[k.String()] = k; k.Forget {
			delete(d.alarms, k.String())
		}
	}
	for _, r := range b.Done {
		if d.done == nil {
			d.done = make(map[string]Done)
		}
		d.done[r.ID] = r
	}
	d.stopped, d.last = b.Stop, b.At
	if d.mode == diskLies {
		return errDisk
	}
	return nil
}

func (d *fakeDisk) Newest() uint64    { d.mu.Lock(); defer d.mu.Unlock(); return d.newest() }
func (d *fakeDisk) GaveOut(n uint64)  { d.mu.Lock(); defer d.mu.Unlock(); d.given = n }
func (d *fakeDisk) Delivered() uint64 { d.mu.Lock(); defer d.mu.Unlock(); return d.delivered }
func (d *fakeDisk) Notices() []string { return d.notices }

func (d *fakeDisk) Undelivered() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(following(nil, d.events, d.delivered, len(d.events)))
}

func (d *fakeDisk) Events(_ context.Context, after uint64, limit int) ([]Event, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return following(nil, d.events, after, limit), nil
}

func (d *fakeDisk) Between(_ context.Context, h Happened, limit int) ([]Event, error) {
	return h.pick(nil, d.stored(), limit), nil
}

func (d *fakeDisk) Delete(_ context.Context, upTo uint64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.mode == diskRefuses {
		return errDisk
	}
	d.delivered = max(d.delivered, min(upTo, d.newest()))
	if d.mode == diskLies {
		return errDisk
	}
	return nil
}

func (d *fakeDisk) Done(_ context.Context, id string) (Done, bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	r, found := d.done[id]
	return r, found, nil
}

// remember is what a next run finds.
func (d *fakeDisk) remember() Remembered {
	d.mu.Lock()
	defer d.mu.Unlock()
	last := d.last
	m := Remembered{Minutes: d.minutes, Last: &last, Stopped: d.stopped, Upkeep: append([]Upkeep{{Gland: "gone", Time: last.Wall, Entry: Entry{Kind: EntryRepacked}}}, d.upkeep...)}
	for _, k := range d.alarms {
		m.Alarms = append(m.Alarms, k)
	}
	return m
}

// Whatever the disk does meanwhile: numbers have no gap, readers miss nothing,
// and once the disk works it holds everything once and in order.
func TestLedgerOnADiskThatFails(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		disk := &fakeDisk{}
		l := NewLedger(disk, true, slog.New(slog.DiscardHandler))
		ctx := context.Background()
		var made, delivered uint64
		check := func(what string, got []Event, after uint64, limit int) {
			want := min(made-min(after, made), uint64(limit))
			if uint64(len(got)) != want {
				t.Fatalf("%s after %d: %d events, want %d of %d", what, after, len(got), want, made)
			}
			for i, e := range got {
				if e.Seq != after+1+uint64(i) {
					t.Fatalf("%s after %d: event %d has seq %d", what, after, i, e.Seq)
				}
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"commit": func(t *rapid.T) {
				n := rapid.IntRange(0, 3).Draw(t, "n")
				b := &Batch{Events: make([]Event, n)}
				if n > 0 {
					b.Upkeep = []Upkeep{{Event: 0}}
				}
				l.Commit(ctx, b)
				made += uint64(n)
				check("commit", b.Events, made-uint64(n), n)
			},
			"disk":  func(t *rapid.T) { disk.set(rapid.IntRange(diskWorks, diskLies).Draw(t, "mode")) },
			"retry": func(*rapid.T) { l.Retry(ctx) },
			"deliver": func(t *rapid.T) {
				delivered = max(delivered, rapid.Uint64Range(0, made).Draw(t, "upTo"))
				if err := l.Delete(ctx, delivered); err != nil {
					t.Fatal(err)
				}
			},
			"read": func(t *rapid.T) {
				after, limit := rapid.Uint64Range(0, made).Draw(t, "after"), rapid.IntRange(1, 5).Draw(t, "limit")
				events, _ := l.Events(ctx, after, limit)
				check("events", events, after, limit)
				pending, _ := l.Pending(ctx, after, limit)
				check("pending", pending, max(after, delivered), limit)
			},
			"": func(t *rapid.T) {
				if got := l.OutboxPending(); uint64(got) != made-delivered {
					t.Fatalf("outbox holds %d, want %d", got, made-delivered)
				}
			},
		})
		disk.set(diskWorks)
		l.Retry(ctx)
		check("disk", disk.events, 0, int(made))
		if disk.delivered != delivered || l.Trouble().Waiting != 0 {
			t.Fatalf("disk: delivered %d, want %d; trouble %+v", disk.delivered, delivered, l.Trouble())
		}
		seen := make(map[uint64]bool)
		for _, u := range disk.upkeep {
			if seen[u.Seq] || u.Seq == 0 {
				t.Fatalf("upkeep of event %d stored twice", u.Seq)
			}
			seen[u.Seq] = true
		}
	})
}

func TestLedgerIsBoundedAndSaysWhatItDrops(t *testing.T) {
	log := &logBook{}
	disk := &fakeDisk{mode: diskRefuses}
	l := NewLedger(disk, true, slog.New(slog.NewTextHandler(log, nil)))
	for range 3 {
		l.Commit(t.Context(), &Batch{Events: make([]Event, waitingMost/2)})
	}
	if got := l.Trouble(); got.Waiting != waitingMost || got.Dropped != waitingMost/2 || log.count("are dropped") != 1 {
		t.Errorf("trouble %+v", got)
	}
	disk.set(diskWorks)
	l.Retry(t.Context())
	if len(disk.events) != waitingMost || disk.events[0].Seq != waitingMost/2+1 {
		t.Errorf("%d events from %d on", len(disk.events), disk.events[0].Seq)
	}
}
