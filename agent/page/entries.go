package page

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"weepd/agent"
)

// entry is work that somebody recorded.
type entry struct {
	Seq     uint64
	Time    time.Time
	At      string
	By      string
	Note    string
	Text    string
	Void    bool // taken back
	CanVoid bool
}

// entryValue is what the kinds' values may hold.
type entryValue struct {
	Flats   *float64 `json:"flats"`
	Drops   *float64 `json:"drops"`
	Minutes *float64 `json:"minutes"`
	Rings   *float64 `json:"rings"`
	Packing string   `json:"packing"`
	Bar     *float64 `json:"bar"`
	Seq     uint64   `json:"seq"`
	Void    bool     `json:"void"`
}

const corrected = "corrected"

// entriesOf lists the upkeep entries among events, in their order. Values come
// from whoever sends commands: what is not understood is shown by its kind.
func (s *Server) entriesOf(events []agent.Event, now time.Time) []entry {
	void := make(map[uint64]bool)
	var list []entry
	for _, e := range events { // the newest first: a correction comes before what it corrects
		if e.Kind != agent.EventUpkeep || e.Entry == nil {
			continue
		}
		var v entryValue
		_ = json.Unmarshal(e.Entry.Value, &v) // absent or of another kind
		if e.Entry.Kind == corrected && v.Void {
			void[v.Seq] = true
		}
		if len(list) < entriesMost {
			list = append(list, entry{
				Seq: e.Seq, Time: e.Time, At: when(e.Time, now), By: e.By, Note: e.Note, Text: s.entryWords(e.Entry.Kind, v),
				Void: void[e.Seq], CanVoid: !void[e.Seq] && e.Entry.Kind != corrected,
			})
		}
	}
	return list
}

func (s *Server) entryWords(kind string, v entryValue) string {
	switch {
	case kind == "adjusted" && v.Flats != nil && *v.Flats >= 0:
		return s.texts.say("entry.adjusted.more", short(*v.Flats))
	case kind == "adjusted" && v.Flats != nil:
		return s.texts.say("entry.adjusted.less", short(-*v.Flats))
	case kind == "counted" && v.Drops != nil && v.Minutes != nil:
		return s.texts.say("entry.counted", short(*v.Drops), short(*v.Minutes))
	case kind == corrected && v.Void:
		return s.texts.say("entry.corrected.void", strconv.FormatUint(v.Seq, 10))
	case kind == corrected:
		return s.texts.say("entry.corrected", strconv.FormatUint(v.Seq, 10))
	case kind == "counted" || kind == "adjusted":
		return kind
	}
	parts := []string{s.texts.orElse("entry.", kind)}
	if v.Rings != nil {
		parts = append(parts, s.texts.say("entry.rings", short(*v.Rings)))
	}
	if v.Packing != "" {
		parts = append(parts, v.Packing)
	}
	if v.Bar != nil {
		parts = append(parts, s.texts.say("entry.bar", short(*v.Bar)))
	}
	return strings.Join(parts, ", ")
}
