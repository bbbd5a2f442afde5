package weekly

import (
	"bytes"
	"context"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"weepd/agent"
)

// readWork gives what was done to each gland in the week, oldest first: as the
// upkeep's state has it, with what came of it, or else as it was recorded.
func readWork(ctx context.Context, past Past, q Request, until time.Time) (map[string][]Work, error) {
	log, err := past.Upkeep(ctx)
	if err != nil {
		return nil, err
	}
	out := make(map[string][]Work)
	for _, u := range log {
		if q.State[u.Gland] == nil && within(u.Time, q.Week.From, until) {
			out[u.Gland] = append(out[u.Gland], Work{u.Time, u.Kind, u.By, recorded(u)})
		}
	}
	for id, state := range q.State {
		if state != nil {
			out[id] = fromState(state, q.Week.From, until)
		}
	}
	for _, list := range out {
		slices.SortStableFunc(list, func(a, b Work) int { return a.Time.Compare(b.Time) })
	}
	return out, nil
}

func within(t, from, to time.Time) bool { return !t.Before(from) && t.Before(to) }

// fromState puts beside each entry what came of it, and adds the adjustments
// that nobody recorded.
func fromState(state *agent.UpkeepState, from, until time.Time) []Work {
	effects := make(map[uint64]string)
	var out []Work
	for _, a := range state.Adjustments {
		effects[a.Seq] = a.Words
		if !a.Recorded && within(a.Time, from, until) {
			out = append(out, Work{a.Time, "adjusted?", "", a.Words})
		}
	}
	for _, e := range state.Entries {
		if e.Void || !within(e.Time, from, until) {
			continue
		}
		words := e.Words
		if effect := effects[e.Seq]; effect != "" {
			words = effect // it says what was done, too
		}
		if e.Note != "" {
			words += "; " + e.Note
		}
		out = append(out, Work{e.Time, e.Kind, e.By, words})
	}
	return out
}

// recorded says what somebody recorded, as it was given.
func recorded(u agent.Upkeep) string {
	words := values(u.Value)
	if u.Note != "" {
		if words != "" {
			words += "; "
		}
		words += u.Note
	}
	return words
}

// values writes an object of plain values as words.
func values(raw json.RawMessage) string {
	if len(raw) == 0 {
		return ""
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var object map[string]any
	if err := d.Decode(&object); err != nil {
		return string(raw)
	}
	var words []string
	for key, v := range object {
		switch v := v.(type) {
		case string:
			words = append(words, key+" "+v)
		case json.Number:
			words = append(words, key+" "+v.String())
		case bool:
			words = append(words, key+" "+strconv.FormatBool(v))
		default:
			part, err := json.Marshal(v)
			if err == nil {
				words = append(words, key+" "+string(part))
			}
		}
	}
	slices.Sort(words)
	return strings.Join(words, ", ")
}
