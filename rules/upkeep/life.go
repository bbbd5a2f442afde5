package upkeep

import (
	"cmp"
	"slices"
	"time"
)

// Config is what a Life needs to know of its gland.
type Config struct {
	NormalDPM, DryDPM, LeakDPM float64 // wanted, least and most weep, drops per minute
	Nuts                       Nuts
}

// Nuts are a gland's; zero where not configured. Each gland's configuration holds
// them: they are kept small.
type Nuts struct {
	PitchMM  float32 // of the thread, a turn
	TravelMM float32 // of the follower from new packing to the end
	Flats    uint8   // of a nut
}

// MMPerFlat is how far a flat moves the follower; 0: not known.
func (n Nuts) MMPerFlat() float64 {
	if n.Flats == 0 {
		return 0
	}
	return float64(n.PitchMM) / float64(n.Flats)
}

// Life is one gland's upkeep. It holds at most entriesMost entries and
// bucketsMost buckets: 64 KiB and about 150 KiB for texts at their longest, some
// kilobytes as a rule. It is not safe for concurrent use.
type Life struct {
	cfg     Config
	entries []Entry // as recorded, with corrections beside what they correct
	series  series
	shape   float64
	due     bool // the packing was judged to be due
}

// entriesMost bounds the entries in memory; the store's log keeps them all.
const entriesMost = 512

// NewLife begins with nothing known.
func NewLife(cfg Config) *Life { return &Life{cfg: cfg, shape: 1} }

// Configure takes over other limits or nuts; what was seen stays.
func (l *Life) Configure(cfg Config) { l.cfg = cfg }

// Record takes an entry. The same seq twice is taken once, so that a restart may
// repeat what is known.
func (l *Life) Record(e Entry) {
	same := func(old Entry) bool { return old.Seq == e.Seq && e.Seq != 0 }
	if slices.ContainsFunc(l.entries, same) {
		return
	}
	l.entries = append(l.entries, e)
	if len(l.entries) > entriesMost {
		l.entries = slices.Delete(l.entries, 0, len(l.entries)-entriesMost)
	}
}

// Number gives a step of a time, noticed without a seq, the one it is offered
// under.
func (l *Life) Number(at time.Duration, seq uint64) {
	for i, e := range l.entries {
		if e.Kind == Noticed && e.Seq == 0 && e.At == at {
			l.entries[i].Seq = seq
		}
	}
}

// Adjusted reports whether anybody has recorded an adjustment.
func (l *Life) Adjusted() bool {
	return slices.ContainsFunc(l.entries, func(e Entry) bool { return e.Kind == Adjusted })
}

// Repacked gives when the gland was repacked last; false: nobody has said so.
func (l *Life) Repacked() (at time.Duration, known bool) {
	for _, e := range l.effective() {
		if e.Kind == Repacked && !e.Void {
			at, known = e.At, true
		}
	}
	return at, known
}

// Find gives a recorded entry or offer as it stands.
func (l *Life) Find(seq uint64) (Entry, bool) {
	for _, e := range l.effective() {
		if e.Seq == seq {
			return e, true
		}
	}
	return Entry{}, false
}

// Observe takes the next bucket, in order of time, and the regularity of the
// drops in it.
func (l *Life) Observe(b Bucket, shape float64) {
	l.shape = shape
	l.series.add(b, func(from, to time.Duration) bool {
		return slices.ContainsFunc(l.entries, func(e Entry) bool { return e.At > from && e.At < to })
	})
}

// effective gives the entries with their corrections applied, by time of work;
// corrections themselves are left out.
func (l *Life) effective() []Entry {
	var out []Entry
	for _, e := range l.entries {
		if e.Kind != Corrected {
			out = append(out, e)
		}
	}
	for _, c := range l.entries { // the newer correction counts
		if c.Kind != Corrected {
			continue
		}
		i := slices.IndexFunc(out, func(e Entry) bool { return e.Seq == c.Of })
		if i < 0 || out[i].Corrected > c.Seq {
			continue
		}
		out[i].Corrected, out[i].Void = c.Seq, c.Value.Void
		if c.New != nil {
			out[i].Value = *c.New
			if c.New.WorkAt != nil {
				out[i].At = c.At
			}
		}
	}
	for i, e := range out {
		if at, found := l.offered(out, e.Step); found && e.Kind == Adjusted {
			out[i].At = at
		}
	}
	slices.SortStableFunc(out, func(a, b Entry) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Seq, b.Seq)) })
	return out
}

// offered gives when the step of a seq was.
func (l *Life) offered(entries []Entry, seq uint64) (time.Duration, bool) {
	for _, e := range entries {
		if e.Kind == Noticed && e.Seq == seq && seq != 0 {
			return e.At, true
		}
	}
	return 0, false
}

// Assess says what is known at a moment. It changes nothing.
func (l *Life) Assess(at time.Duration) *State {
	s := &State{At: at, Entries: l.effective()}
	v := l.view(at, s.Entries)
	s.Offers = v.offers()
	s.Packing = v.packing()
	s.Adjustments = v.adjustments()
	s.Trend = v.trend(s.Adjustments, s.Packing)
	s.Outlook = v.outlook(s.Adjustments, s.Packing)
	s.Count = v.count()
	s.Ineffective, s.IneffectiveWhy = v.ineffective(s.Adjustments)
	return s
}
