package page

import (
	"encoding/json"
	"slices"
	"strconv"
	"time"

	"weepd/agent"
)

// entry is work that somebody recorded.
type entry struct {
	Seq  uint64
	Kind string
	Time time.Time
	At   string
	By   string
	Note string
	Text string
	Void bool         // taken back
	Fix  []entryField // what of it can be corrected, with what it is
}

// entriesMost is how many entries are listed.
const entriesMost = 50

// entriesOf lists a gland's entries, the newest first.
func entriesOf(g *agent.Gland, now time.Time) []entry {
	if g.Upkeep == nil {
		return nil
	}
	var list []entry
	for _, e := range slices.Backward(g.Upkeep.Entries) {
		if len(list) == entriesMost {
			break
		}
		list = append(list, entry{
			Seq: e.Seq, Kind: e.Kind, Time: e.Time, At: when(e.Time, now), By: e.By, Note: e.Note, Text: e.Words, Void: e.Void, Fix: fixes(e),
		})
	}
	return list
}

// fixes are the figures of an entry that can be corrected.
func fixes(e agent.UpkeepEntry) []entryField {
	fields := slices.Clone(fixable[e.Kind])
	var value map[string]any
	if len(fields) == 0 || json.Unmarshal(e.Value, &value) != nil {
		return nil
	}
	for i := range fields {
		if n, ok := value[fields[i].Name].(float64); ok {
			fields[i].Start = strconv.FormatFloat(n, 'f', -1, 64)
		}
	}
	return fields
}

// outlook is what is known of a gland's packing.
type outlook struct {
	Words  string
	Lines  []Line
	Offers []offer
}

// offer asks whether a step in the weep was somebody's work.
type offer struct {
	Seq  uint64
	Text string
	Turn entryField
}

func (s *Server) outlookOf(g *agent.Gland, now time.Time) *outlook {
	u := g.Upkeep
	if u == nil {
		return nil
	}
	o := &outlook{Words: u.Words}
	add := func(key, text string) {
		if text != "" {
			o.Lines = append(o.Lines, Line{s.texts.say(key), text})
		}
	}
	add("outlook.adjust", u.NextAdjustment.Range)
	add("outlook.repack", u.Repack.Range)
	for _, words := range u.Repack.Words {
		o.Lines = append(o.Lines, Line{Text: words})
	}
	if p := u.Packing; p != nil {
		add("outlook.packing", s.texts.say("outlook.since", when(p.Since, now), p.Packing))
		add("outlook.flats", short(p.Flats))
	}
	if n := len(u.Adjustments); n > 0 {
		add("outlook.last", u.Adjustments[n-1].Words)
	}
	if r := u.RunIn; r != nil && r.Active {
		add("outlook.runin", s.texts.say("outlook.stage", r.Stage, r.Stages, rate(r.LeastDPM), rate(r.MostDPM))+" "+r.Next)
	}
	for _, one := range u.Offers {
		turn := fixable["adjusted"][0]
		if turn.Start = "1"; one.AfterDPM > one.BeforeDPM {
			turn.Start = "-1"
		}
		o.Offers = append(o.Offers, offer{one.Seq, one.Words, turn})
	}
	return o
}
