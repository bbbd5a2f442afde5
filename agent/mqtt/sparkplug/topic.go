package sparkplug

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// Namespace is the first level of every topic (tck-id-topic-structure-namespace-a).
const Namespace = "spBv1.0"

// The message types of an edge node and its devices.
const (
	NBirth = "NBIRTH"
	NDeath = "NDEATH"
	NData  = "NDATA"
	NCmd   = "NCMD"
	DBirth = "DBIRTH"
	DDeath = "DDEATH"
	DData  = "DDATA"
)

// Node is an edge node's place in the namespace.
type Node struct{ Group, ID string }

// Topic gives the topic of a message type; device is empty for the node's own.
func (n Node) Topic(kind, device string) string {
	t := Namespace + "/" + n.Group + "/" + kind + "/" + n.ID
	if device != "" {
		t += "/" + device
	}
	return t
}

// StateTopic is where a host application says whether it is there.
func StateTopic(host string) string { return Namespace + "/STATE/" + host }

// ValidID reports whether an id may be a level of a topic
// (tck-id-topic-structure-namespace-valid-group-id and its siblings).
func ValidID(s string) bool {
	return s != "" && utf8.ValidString(s) && !strings.ContainsAny(s, "+/#\x00")
}

// State is a host application's.
type State struct {
	Online bool
	Time   time.Time
}

// ParseState reads a STATE message.
func ParseState(payload []byte) (State, error) {
	var s struct {
		Online    *bool  `json:"online"`
		Timestamp *int64 `json:"timestamp"`
	}
	if err := json.Unmarshal(payload, &s); err != nil {
		return State{}, fmt.Errorf("STATE: %w", err)
	}
	if s.Online == nil || s.Timestamp == nil {
		return State{}, fmt.Errorf("STATE: %.80q lacks online or timestamp", payload)
	}
	return State{*s.Online, time.UnixMilli(*s.Timestamp).UTC()}, nil
}
