package store

import (
	"encoding/json"
	"fmt"
	"strings"

	"weepd/agent"
)

// Keys of the states.
const (
	alarmPrefix = "alarm/"
	stoppedKey  = "agent/stopped"
)

// batchOf writes a batch's payloads.
func batchOf(b *agent.Batch) (Batch, error) {
	var out Batch
	at := Stamp(b.At)
	for _, e := range b.Events {
		payload, err := json.Marshal(e)
		if err != nil {
			return out, fmt.Errorf("event %d: %w", e.Seq, err)
		}
		out.Events = append(out.Events, Event{Seq: int64(e.Seq), Stamp: Stamp{e.Time, e.At}, Kind: e.Kind, Payload: payload})
	}
	for _, k := range b.Alarms {
		st := State{Key: alarmPrefix + k.String(), Stamp: at}
		if !k.Forget {
			payload, err := json.Marshal(k)
			if err != nil {
				return out, fmt.Errorf("alarm %s: %w", k.Key, err)
			}
			st.Payload = payload
		}
		out.States = append(out.States, st)
	}
	if b.Stop {
		out.States = append(out.States, State{Key: stoppedKey, Stamp: at, Payload: []byte("{}")})
	}
	for _, u := range b.Upkeep {
		payload, err := json.Marshal(u)
		if err != nil {
			return out, fmt.Errorf("upkeep entry of %s: %w", u.Gland, err)
		}
		out.Upkeep = append(out.Upkeep, Upkeep{Event: int64(u.Seq), Gland: u.Gland, Stamp: at, Payload: payload})
	}
	for _, d := range b.Done {
		payload, err := json.Marshal(d)
		if err != nil {
			return out, fmt.Errorf("reply %s: %w", d.ID, err)
		}
		out.Replies = append(out.Replies, Reply{ID: d.ID, Stamp: at, Payload: payload})
	}
	return out, nil
}

func eventsOf(rows []Event) ([]agent.Event, error) {
	out := make([]agent.Event, 0, len(rows))
	for _, row := range rows {
		var e agent.Event
		if err := json.Unmarshal(row.Payload, &e); err != nil {
			return nil, fmt.Errorf("event %d: %w", row.Seq, err)
		}
		e.Seq, e.At = uint64(row.Seq), row.Steady
		out = append(out, e)
	}
	return out, nil
}

func keptOf(st State) (agent.KeptAlarm, error) {
	var k agent.KeptAlarm
	if err := json.Unmarshal(st.Payload, &k); err != nil {
		return k, err
	}
	if name := strings.TrimPrefix(st.Key, alarmPrefix); name != k.String() {
		return k, fmt.Errorf("it is the state of %s", k.Key)
	}
	return k, nil
}

func doneOf(row Reply) (agent.Done, bool, error) {
	var d agent.Done
	if err := json.Unmarshal(row.Payload, &d); err != nil {
		return d, false, fmt.Errorf("reply %s: %w", row.ID, err)
	}
	return d, true, nil
}
