package agent

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Bounds of a command.
const (
	MaxCommand  = 4096 // bytes of JSON
	maxBy       = 64   // characters
	maxNote     = 500
	maxKind     = 32
	maxValue    = 1024 // bytes of JSON
	commandWait = 3 * time.Second
)

// ActionRecord is the action beside those of an alarm's life (see alarm.Kind).
const ActionRecord = "record"

// Command is what a person wants done, by MQTT or HTTP.
type Command struct {
	ID        string          `json:"id"` // the sender's own; the same id is done once
	Action    string          `json:"action"`
	Gland     string          `json:"gland"`
	Condition string          `json:"condition,omitempty"`
	By        string          `json:"by"`
	For       string          `json:"for,omitempty"`  // shelve: e.g. 8h or 1h30m
	Kind      string          `json:"kind,omitempty"` // record: what it is about
	Value     json.RawMessage `json:"value,omitempty"`
	Note      string          `json:"note,omitempty"`
	Time      string          `json:"time,omitempty"`      // signed commands: when it was sent
	Signature string          `json:"signature,omitempty"` // signed commands
}

// Reply is the answer to a command.
type Reply struct {
	OK     bool   `json:"ok"`
	Error  string `json:"error,omitempty"`
	Reason string `json:"reason,omitempty"` // the error's word: see the Reason constants and alarm.Reason
}

// Reasons of refusal beside those of package alarm.
const (
	ReasonMalformed = "malformed"
	ReasonTooLarge  = "too-large"
	ReasonIDUsed    = "id-used"
	ReasonBusy      = "busy" // nothing was done: send it again with the same id
	ReasonSignature = "signature"
	ReasonDenied    = "denied"
)

// Refuse makes a reply of an error.
func Refuse(reason, format string, args ...any) Reply {
	return Reply{Error: fmt.Sprintf(format, args...), Reason: reason}
}

// commandID may be a level of an MQTT topic.
var commandID = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}$`)

const commandIDWant = "1 to 64 of A-Z a-z 0-9 _ . : - with a letter or digit first"

// ValidCommandID reports whether a reply can be sent to the id.
func ValidCommandID(id string) bool { return commandID.MatchString(id) }

// ParseCommand reads a command. With a refusal the command holds as much as
// could be read, so that the reply can find its id.
func ParseCommand(data []byte) (Command, *Reply) {
	var c Command
	if len(data) > MaxCommand {
		return c, refused(ReasonTooLarge, "the command has %d bytes; want at most %d", len(data), MaxCommand)
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&c); err != nil {
		_ = json.Unmarshal(data, &c) // for the id alone
		return c, refused(ReasonMalformed, "the command is not understood (%s); want a JSON object with id, action, gland, condition, by", jsonCause(err))
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return c, refused(ReasonMalformed, "the command is followed by more; want one JSON object")
	}
	if c.ID == "" {
		return c, refused(ReasonMalformed, "id is missing; give each command one of its own: %s", commandIDWant)
	}
	if !ValidCommandID(c.ID) {
		return c, refused(ReasonMalformed, "id is not allowed; want %s", commandIDWant)
	}
	if text := c.TooLong(); text != "" {
		return c, refused(ReasonMalformed, "%s", text)
	}
	return c, nil
}

func refused(reason, format string, args ...any) *Reply {
	r := Refuse(reason, format, args...)
	return &r
}

// jsonCause says what is wrong in one line without package names.
func jsonCause(err error) string {
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong):
		return fmt.Sprintf("%s is a %s, want %s", wrong.Field, wrong.Value, wrong.Type)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "it ends too early"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// TooLong says which field is too long or not one line; empty if none is.
func (c *Command) TooLong() string {
	for _, f := range []struct {
		name, text string
		most       int
	}{
		{"action", c.Action, maxKind}, {"gland", c.Gland, maxBy}, {"condition", c.Condition, maxKind}, {"by", c.By, maxBy},
		{"for", c.For, maxKind}, {"kind", c.Kind, maxKind}, {"note", c.Note, maxNote}, {"time", c.Time, maxBy}, {"signature", c.Signature, 2 * maxBy},
	} {
		if n := utf8.RuneCountInString(f.text); n > f.most {
			return fmt.Sprintf("%s has %d characters; want at most %d", f.name, n, f.most)
		}
		if strings.ContainsFunc(f.text, unicode.IsControl) {
			return f.name + " has line breaks or control characters; want one line"
		}
	}
	if len(c.Value) > maxValue {
		return fmt.Sprintf("value has %d bytes; want at most %d", len(c.Value), maxValue)
	}
	return ""
}

// Canonical is the text that a signature covers: a version, the station, then
// each field on a line of its own, in this order. Fields hold no line breaks;
// value is compact JSON.
func (c *Command) Canonical(station string) string {
	var value bytes.Buffer
	if len(c.Value) > 0 && json.Compact(&value, c.Value) != nil {
		value.Reset()
	}
	return strings.Join([]string{
		"weepd-command-1", station, c.ID, c.Time, c.Action, c.Gland, c.Condition, c.By, c.For, c.Kind, value.String(), c.Note,
	}, "\n")
}

// sum tells commands apart, whenever they were sent.
func (c *Command) sum() string {
	same := *c
	same.Time = ""
	hash := sha256.Sum256([]byte(same.Canonical("")))
	return hex.EncodeToString(hash[:8])
}

// request is a command on its way to the loop.
type request struct {
	command Command
	reply   chan Reply
}

// Do has the loop carry out a parsed command and waits for it. The reply comes
// after what was done is in the journal.
func (a *Agent) Do(ctx context.Context, c Command) Reply {
	r := request{c, make(chan Reply, 1)}
	timer := time.NewTimer(commandWait)
	defer timer.Stop()
	select {
	case a.requests <- r:
	case <-timer.C:
		return a.busy()
	case <-a.ended:
		return a.busy()
	case <-ctx.Done():
		return a.busy()
	}
	select {
	case reply := <-r.reply:
		return reply
	case <-timer.C:
	case <-a.ended:
		select { // the loop may have answered before it ended
		case reply := <-r.reply:
			return reply
		default:
		}
	case <-ctx.Done():
	}
	return a.busy()
}

func (a *Agent) busy() Reply {
	return Refuse(ReasonBusy, "the agent is busy or stopping; send it again with the same id")
}
