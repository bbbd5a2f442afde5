package mqtt

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"time"

	"weepd/agent"
)

// leastKey is the least length of a key, in bytes: RFC 2104 section 3 strongly
// discourages keys shorter than the hash's output, 32 bytes for SHA-256; half
// of that is what a person may type.
const leastKey = 16

// Sign gives the signature of a command: HMAC-SHA256 (RFC 2104) over its
// canonical text, in hex.
func Sign(c agent.Command, station string, key []byte) string {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(c.Canonical(station)))
	return hex.EncodeToString(mac.Sum(nil))
}

// unsigned refuses a command whose signature or time is wrong, if signatures
// are asked for. A command that is sent again within the window is the same
// command by its id and not done twice.
func (p *Publisher) unsigned(c agent.Command, now time.Time) *agent.Reply {
	if p.cfg.CommandKeyFile == "" {
		return nil
	}
	refuse := func(format string, args ...any) *agent.Reply {
		r := agent.Refuse(agent.ReasonSignature, format, args...)
		return &r
	}
	key, err := readKey(p.cfg.CommandKeyFile)
	if err != nil {
		p.log.Error("mqtt: no command is taken: the key cannot be read", "error", err)
		return refuse("the agent cannot read its key; see its log")
	}
	given, err := hex.DecodeString(c.Signature)
	want, _ := hex.DecodeString(Sign(c, p.cfg.Station, key))
	if err != nil || !hmac.Equal(given, want) {
		return refuse("the signature is missing or wrong; this station takes signed commands only")
	}
	sent, err := time.Parse(time.RFC3339, c.Time)
	if err != nil {
		return refuse("time is missing or no RFC 3339 time; a signed command says when it was sent")
	}
	if off := now.Sub(sent); off.Abs() > p.cfg.CommandWindow {
		return refuse("the command's time is %s off the agent's clock, which says %s; want at most %s",
			off.Abs().Round(time.Second), now.UTC().Format(time.RFC3339), p.cfg.CommandWindow)
	}
	return nil
}

// readKey reads the key at each command, so that it may be changed.
func readKey(path string) ([]byte, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("mqtt.command_key_file: %w", err)
	}
	key := bytes.TrimRight(text, "\r\n")
	if len(key) < leastKey {
		return nil, fmt.Errorf("mqtt.command_key_file: %s holds %d bytes; want a key of at least %d", path, len(key), leastKey)
	}
	return key, nil
}
