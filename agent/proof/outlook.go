package proof

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"weepd/rules/upkeep"
)

// What is said.
const (
	SayAdjust = "adjust"
	SayRepack = "repack"
)

// Saying is one range that was stated, and what came.
type Saying struct {
	Packing int
	Opening Opening
	What    string  // SayAdjust or SayRepack
	At      float64 // days since the repacking
	Known   bool    // a range was stated
	Early   float64 // days ahead
	Late    float64
	Came    float64 // days ahead
}

// Held reports whether the range held what came.
func (s Saying) Held() bool { return s.Early <= s.Came && s.Came <= s.Late }

// Back is a packing's life looked back on.
type Back struct {
	Sayings  []Saying
	Days     float64
	Turns    int // adjustments
	Silent   int // of them, that nobody recorded
	Found    int // of those, noticed
	False    int // noticed where there was none
	Spent    string
	Told     float64        // days before the end that repack-due was raised for good; < 0: it was not
	Verdicts map[string]int // of the adjustments that were recorded
}

const (
	newAt       = 1_700_000_000 * time.Second // the repacking; on the hour or not is all one
	longestLife = 3 * 365.0                   // days
	silentShare = 0.1                         // adjustments that nobody records
)

// lookingBack is one life while it is played.
type lookingBack struct {
	*packing
	back     Back
	life     *upkeep.Life
	now      time.Duration
	seq      uint64
	ask      float64  // days after the last adjustment
	open     []Saying // that wait for what comes
	silentAt time.Duration
	due      float64 // the age at which repack-due was raised; < 0: it is not
}

// LookBack plays packing number index to its end and asks for the outlook once
// between any two adjustments, at a random moment.
func LookBack(index int) Back {
	p := newPacking(index)
	l := &lookingBack{
		packing: p, back: Back{Verdicts: map[string]int{}}, life: upkeep.NewLife(p.config()),
		now: newAt.Truncate(time.Hour), seq: 1, ask: askAt(p.rng), due: -1,
	}
	l.life.Record(upkeep.Entry{Seq: 1, At: l.now, Kind: upkeep.Repacked})
	for p.age < longestLife && p.spent == "" {
		l.now += time.Hour
		crossed := p.crossed
		p.hour()
		if p.crossed && !crossed {
			l.back.close(&l.open, SayAdjust, p.age)
		}
		l.life.Observe(p.bucket(l.now), p.shape)
		l.notice()
		if !p.crossed && p.since >= l.ask {
			l.open = append(l.open, p.say(index, l.life.Assess(l.now))...)
			l.ask = longestLife
		}
		l.judge()
		l.adjust()
	}
	return l.end()
}

// notice takes a step that the upkeep has noticed.
func (l *lookingBack) notice() {
	s, found := l.life.LookForStep(l.now)
	if !found {
		return
	}
	l.seq++
	l.life.Record(upkeep.Entry{Seq: l.seq, At: s.At, Kind: upkeep.Noticed, Value: upkeep.Value{Before: s.BeforeDPM, After: s.AfterDPM}})
	if l.silentAt != 0 && l.now-l.silentAt < 3*24*time.Hour {
		l.back.Found++
	} else {
		l.back.False++
	}
	l.silentAt = 0
}

// judge looks at the alarms a day after each adjustment and before the next.
func (l *lookingBack) judge() {
	const hour = 1.0 / 24
	if !(l.since >= 1 && l.since < 1+hour || l.waits >= 0 && l.waits < hour) {
		return
	}
	switch raised := l.life.Judge(l.now).RepackDue; {
	case !raised:
		l.due = -1
	case l.due < 0:
		l.due = l.age
	}
}

// adjust has the mechanic come, if he does, and most of the times record it.
func (l *lookingBack) adjust() {
	flats, came := l.mechanic()
	if !came {
		return
	}
	l.back.Turns++
	l.ask = askAt(l.rng)
	if l.rng.Float64() < silentShare {
		l.back.Silent++
		l.silentAt = l.now
		return
	}
	l.seq++
	l.life.Record(upkeep.Entry{Seq: l.seq, At: l.now, Kind: upkeep.Adjusted, Value: upkeep.Value{Flats: flats}})
}

func (l *lookingBack) end() Back {
	b := &l.back
	b.Days, b.Spent, b.Told = l.age, l.spent, -1
	if l.due >= 0 {
		b.Told = l.age - l.due
	}
	if l.spent != "" {
		b.close(&l.open, SayRepack, l.age)
	}
	for _, a := range l.life.Assess(l.now).Adjustments {
		b.Verdicts[a.Verdict.String()]++
	}
	return *b
}

// askAt is how long after an adjustment the outlook is asked for, days.
func askAt(rng *rand.Rand) float64 { return rng.ExpFloat64() * 6 }

// say notes what the outlook states.
func (p *packing) say(index int, s *upkeep.State) []Saying {
	one := func(what string, f upkeep.Forecast) Saying {
		return Saying{
			Packing: index, Opening: p.opening, What: what, At: p.age, Known: f.Known && !f.Now,
			Early: (f.Early - s.At).Hours() / 24, Late: (f.Late - s.At).Hours() / 24,
		}
	}
	return []Saying{one(SayAdjust, s.Outlook.Adjust), one(SayRepack, s.Outlook.Repack)}
}

// close writes down what came of the sayings about it.
func (b *Back) close(open *[]Saying, what string, age float64) {
	*open = slices.DeleteFunc(*open, func(s Saying) bool {
		if s.What != what {
			return false
		}
		s.Came = age - s.At
		b.Sayings = append(b.Sayings, s)
		return true
	})
}

// LookBacks plays n packings from a number on.
func LookBacks(ctx context.Context, from, n, workers int) []Back {
	backs := make([]Back, n)
	work := make(chan int)
	var all sync.WaitGroup
	for range workers {
		all.Go(func() {
			for i := range work {
				backs[i] = LookBack(from + i)
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		work <- i
	}
	close(work)
	all.Wait()
	return backs
}
