package main

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// event is what the soak needs of one entry of the journal. Text is the whole
// of it in a form that two copies share whatever their white space.
type event struct {
	seq       uint64
	gland     string
	condition string
	command   string
	state     string
	text      string
}

func parseEvent(data []byte) (event, error) {
	var e struct {
		Seq                       uint64
		Gland, Condition, Command string
		State                     string
	}
	if err := json.Unmarshal(data, &e); err != nil {
		return event{}, fmt.Errorf("not an event: %w: %.200s", err, data)
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber() // numbers as they were written
	var all map[string]any
	if err := decoder.Decode(&all); err != nil {
		return event{}, err
	}
	text, err := json.Marshal(all) // keys in order
	if err != nil {
		return event{}, err
	}
	return event{e.Seq, e.Gland, e.Condition, e.Command, e.State, string(text)}, nil
}
