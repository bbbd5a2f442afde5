package rules

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

// kept is a gland that a test drips onto by the hour, and what came of it.
type kept struct {
	*Station
	t     *testing.T
	at    time.Duration
	seq   uint64
	fresh []Fresh
	said  []Transition
}

func newKept(t *testing.T, change func(*GlandConfig)) *kept {
	t.Helper()
	cfg := testGland()
	cfg.Nuts = upkeep.Nuts{PitchMM: 1.5, TravelMM: 12, Flats: 6}
	if change != nil {
		change(&cfg)
	}
	s, err := NewStation(Config{Glands: []GlandConfig{cfg}})
	if err != nil {
		t.Fatal(err)
	}
	k := &kept{Station: s, t: t, at: 1_750_000_000 * time.Second}
	k.feed(reading.Run, 1)
	return k
}

func (k *kept) feed(kind reading.Kind, value float64) {
	k.t.Helper()
	out, err := k.Feed(reading.Reading{At: k.at, Point: reading.Point{Gland: "p1", Kind: kind}, Value: value})
	if err != nil {
		k.t.Fatal(err)
	}
	k.said = append(k.said, out...)
	k.fresh = append(k.fresh, k.TakeFresh()...)
}

// drips for a time at a rate; every half minute the temperature is read.
func (k *kept) drips(d time.Duration, dpm, riseC float64) {
	k.t.Helper()
	every := time.Duration(60 / dpm * float64(time.Second))
	for end, n := k.at+d, 0; k.at < end; n++ {
		k.at += every
		k.feed(reading.Drip, 1)
		if n%8 == 0 {
			k.feed(reading.Ref, 20)
			k.feed(reading.Temp, 20+riseC+0.0625*float64(n/8%2))
		}
	}
}

func (k *kept) does(kind upkeep.Kind, v upkeep.Value) {
	k.t.Helper()
	k.seq++
	out, err := k.Record("p1", upkeep.Entry{Seq: k.seq, At: k.now, Kind: kind, Value: v})
	if err != nil {
		k.t.Fatal(err)
	}
	k.said = append(k.said, out...)
}

func (k *kept) raised() string {
	var list []string
	for _, tr := range k.said {
		list = append(list, fmt.Sprintf("%s %v", tr.Condition, tr.Active))
	}
	return strings.Join(list, ", ")
}

// Tightening that changes nothing raises its alarm by itself an hour later, and
// with it repack-due; new packing clears both at once.
func TestAdjustmentThatDoesNothing(t *testing.T) {
	k := newKept(t, func(c *GlandConfig) { c.Timing.OffDelay = 0 })
	k.drips(60*time.Hour, 50, 8) // long enough to know how little it wanders
	k.does(upkeep.Adjusted, upkeep.Value{Flats: 1})
	k.drips(50*time.Minute, 50, 8)
	if got := k.raised(); got != "" {
		t.Fatalf("too early: %s", got)
	}
	k.drips(2*time.Hour, 50, 8)
	if got := k.raised(); got != "adjustment-ineffective true, repack-due true" {
		t.Fatalf("raised %q", got)
	}
	if m := k.said[0].Message; !strings.Contains(m, "the last adjustment (1 flat) changed the weep from 50") {
		t.Errorf("message %s", m)
	}
	if k.said[0].Priority != Medium || k.said[1].Priority != Low {
		t.Errorf("priorities %v", k.said)
	}
	k.does(upkeep.Repacked, upkeep.Value{})
	if got := k.raised(); got != "adjustment-ineffective true, repack-due true, adjustment-ineffective false, repack-due false" {
		t.Errorf("repacked: %s", got)
	}
	for _, tr := range k.said[2:] {
		if !strings.Contains(tr.Message, "repacked") {
			t.Errorf("message %s", tr.Message)
		}
	}
}

// The weep of the hours holds every drop that fell while the shaft turned and
// the film had formed, and a restart with it and the entries knows the same.
func TestRestoredUpkeepIsTheSame(t *testing.T) {
	k := newKept(t, nil)
	k.drips(7*time.Hour, 65, 8)
	k.does(upkeep.Adjusted, upkeep.Value{Flats: 2})
	k.drips(7*time.Hour, 30, 8)
	state, _ := k.Upkeep("p1")
	var weeps []upkeep.Bucket
	watched, drops := time.Duration(0), uint32(0)
	for _, f := range k.fresh {
		if f.Bucket != nil {
			weeps = append(weeps, *f.Bucket)
			watched += f.Bucket.Watched
			drops += f.Bucket.Drops
		}
	}
	total := k.byID["p1"].drip.total
	if watched < 13*time.Hour || float64(drops) < 0.9*float64(total) || uint64(drops) > total {
		t.Errorf("%d of %d drops in %s", drops, total, watched)
	}
	again := newKept(t, nil)
	if err := again.Restore("p1", state.Entries, weeps); err != nil {
		t.Fatal(err)
	}
	again.at = k.at
	again.drips(2*time.Minute, 30, 8)
	after, _ := again.Upkeep("p1")
	a, b := state.Adjustments[0], after.Adjustments[0]
	if len(after.Adjustments) != 1 || math.Abs(a.CutDPM-b.CutDPM) > 0.5 || a.Verdict != upkeep.Worked || b.Verdict != upkeep.Worked {
		t.Errorf("before %+v, after %+v", a, b)
	}
}

// Rest, gaps and bad counts are left out of the weep of the hours.
func TestTheMeterLeavesOutWhatIsNoWeep(t *testing.T) {
	k := newKept(t, nil)
	k.drips(3*time.Hour, 30, 8)
	k.feed(reading.Run, 0)
	k.drips(2*time.Hour, 5, 2) // stands and drips a little
	k.feed(reading.Run, 1)
	k.drips(2*time.Hour, 30, 8)
	k.at += 5 * time.Hour // nobody watched
	k.drips(3*time.Hour, 30, 8)
	watched := time.Duration(0)
	for _, f := range k.fresh {
		b := f.Bucket
		if b == nil {
			continue
		}
		watched += b.Watched
		if b.Watched > 10*time.Minute && math.Abs(b.DPM()-30) > 1 {
			t.Errorf("%+v: %g drops/min", b, b.DPM())
		}
		if b.Watched > b.To-b.From || b.To-b.From > time.Hour {
			t.Errorf("%+v", b)
		}
	}
	if watched < 6*time.Hour || watched > 8*time.Hour {
		t.Errorf("watched %s of 8 hours", watched)
	}
}

// Limits and nuts may change, and a gland may be left out for a while: what was
// seen of its upkeep stays.
func TestReconfiguredUpkeepStays(t *testing.T) {
	k := newKept(t, nil)
	k.drips(time.Hour, 65, 8)
	k.does(upkeep.Repacked, upkeep.Value{})
	k.drips(7*time.Hour, 65, 8)
	k.does(upkeep.Adjusted, upkeep.Value{Flats: 2})
	k.drips(3*time.Hour, 30, 8)
	with := k.glands[0].cfg
	with.Nuts.PitchMM = 3
	other := testGland()
	other.ID = "other"
	for _, glands := range [][]GlandConfig{{with}, {other}, {other, with}} {
		if _, err := k.Reconfigure(k.at, Config{Glands: glands}); err != nil {
			t.Fatal(err)
		}
	}
	s, _ := k.Upkeep("p1")
	if len(s.Entries) != 2 || len(s.Adjustments) != 1 || s.Adjustments[0].Verdict != upkeep.Worked || s.Packing.Travel.UsedMM != 1 {
		t.Errorf("%+v", s)
	}
}

// A step is told once, to be offered, and becomes an adjustment when recorded.
func TestAStepIsFresh(t *testing.T) {
	k := newKept(t, nil)
	k.drips(20*time.Hour, 55, 8)
	k.drips(8*time.Hour, 30, 8)
	var steps []upkeep.Step
	for _, f := range k.fresh {
		if f.Step != nil {
			steps = append(steps, *f.Step)
		}
	}
	if len(steps) != 1 || math.Abs(steps[0].BeforeDPM-55) > 1 || math.Abs(steps[0].AfterDPM-30) > 1 {
		t.Fatalf("steps %+v", steps)
	}
	k.NumberStep("p1", steps[0].At, 40)
	if e, found := k.Entry("p1", 40); !found || e.Kind != upkeep.Noticed {
		t.Errorf("%+v, %v", e, found)
	}
	k.does(upkeep.Adjusted, upkeep.Value{Flats: 1, Step: 40})
	if s, _ := k.Upkeep("p1"); len(s.Offers) != 0 || len(s.Adjustments) != 1 || !s.Adjustments[0].Recorded {
		t.Errorf("%+v", s)
	}
	if k.raised() != "" {
		t.Errorf("a step raised %s", k.raised())
	}
}

// However often the core is woken in between, entries, hours and run-ins come to
// the same.
func TestWakingChangesNoUpkeep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := testGland()
		cfg.Timing.RunIn = 2 * time.Hour
		var stations [2]*Station
		for i := range stations {
			s, err := NewStation(Config{Glands: []GlandConfig{cfg}})
			if err != nil {
				t.Fatal(err)
			}
			stations[i] = s
		}
		var said, fresh [2]string
		at := time.Duration(rapid.Int64Range(0, 1e18).Draw(t, "epoch"))
		note := func(i int, out []Transition) {
			for _, tr := range out {
				said[i] += fmt.Sprintln(tr.At, tr.Condition, tr.Active, tr.Message)
			}
			fresh[i] += freshWords(stations[i].TakeFresh())
		}
		for stretch := range rapid.IntRange(1, 12).Draw(t, "stretches") {
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				kind := rapid.SampledFrom([]upkeep.Kind{upkeep.Adjusted, upkeep.Repacked, upkeep.SensorCleaned}).Draw(t, "kind")
				for i, s := range stations {
					out, err := s.Record("p1", upkeep.Entry{Seq: uint64(stretch + 1), At: s.now, Kind: kind, Value: upkeep.Value{Flats: 1}})
					if err != nil {
						t.Fatal(err)
					}
					note(i, out)
				}
			case 1:
				at += time.Duration(rapid.Int64Range(0, 3*3600e9).Draw(t, "gap"))
			}
			every := time.Duration(rapid.Int64Range(1e8, 10e9).Draw(t, "every"))
			for range rapid.IntRange(1, 200).Draw(t, "drops") {
				at += every
				wakes := rapid.IntRange(0, 30).Draw(t, "wakes")
				if s := stations[1]; wakes > 28 && at-s.now <= MaxSilence {
					note(1, s.Advance(at-every/2))
				}
				for i, s := range stations {
					out, err := s.Feed(reading.Reading{At: at, Point: reading.Point{Gland: "p1", Kind: reading.Drip}, Value: 1})
					if err != nil {
						t.Fatal(err)
					}
					note(i, out)
				}
			}
		}
		if said[0] != said[1] || fresh[0] != fresh[1] {
			t.Fatalf("said\n%s\nand woken\n%s\nfresh\n%s\nand woken\n%s", said[0], said[1], fresh[0], fresh[1])
		}
	})
}

func freshWords(list []Fresh) (text string) {
	for _, f := range list {
		switch {
		case f.Bucket != nil:
			text += fmt.Sprintln(*f.Bucket)
		case f.RunIn != nil:
			text += fmt.Sprintln(f.RunIn.Outcome, f.RunIn.Ended, f.RunIn.Stage, len(f.RunIn.Curve))
		}
	}
	return text
}

// What a gland's upkeep holds is bounded, whatever is recorded and however long:
// 2048 buckets of 32 bytes and 512 entries, under 256 KiB with texts of ordinary
// length.
func TestUpkeepIsBounded(t *testing.T) {
	const most = 256 << 10
	before := heapInUse()
	life := upkeep.NewLife(upkeep.Config{NormalDPM: 30, DryDPM: 15, LeakDPM: 60})
	at := time.Duration(0)
	for i := range 20_000 { // hours: over two years
		at += time.Hour
		life.Observe(upkeep.Bucket{From: at - time.Hour, To: at, Watched: time.Hour, Drops: 1800}, 4)
		if i%20 == 0 {
			life.Record(upkeep.Entry{Seq: uint64(i + 1), At: at, Kind: upkeep.Adjusted, By: "M. Weaver", Note: fmt.Sprint("both nuts, ", i), Value: upkeep.Value{Flats: 1}})
		}
	}
	if held := heapInUse() - before; held > most {
		t.Errorf("the upkeep of a gland holds %d bytes, at most %d are wanted", held, most)
	}
	if s := life.Assess(at); len(s.Adjustments) == 0 {
		t.Error("nothing is left")
	}
}
