package upkeep

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Bounds of what can be recorded: wide enough for any gland, narrow enough to
// catch a slip of the keyboard. Choices of ours.
const (
	maxFlats   = 72 // twelve turns of a hexagon nut
	maxPacking = 80 // characters
	maxRings   = 30
	maxDrops   = 100_000
	maxMinutes = 24 * 60
	minBar     = -1
	maxBar     = 400
)

// Kinds are the kinds that people record, in the order of texts.
func Kinds() []Kind {
	return []Kind{Adjusted, Repacked, SleeveChanged, ShaftChanged, SensorCleaned, Counted, FlushChanged, Corrected}
}

// raw is a value as it is written; pointers tell what is absent.
type raw struct {
	Flats   *float64        `json:"flats"`
	Step    *uint64         `json:"step"`
	Packing *string         `json:"packing"`
	Rings   *int            `json:"rings"`
	Drops   *int            `json:"drops"`
	Minutes *float64        `json:"minutes"`
	Bar     *float64        `json:"bar"`
	Seq     *uint64         `json:"seq"`
	Value   json.RawMessage `json:"value"`
	Void    *bool           `json:"void"`
	At      *time.Time      `json:"at"`
	Before  *float64        `json:"before_dpm"`
	After   *float64        `json:"after_dpm"`
}

// keysOf says which keys a kind may have, and an example of a value.
func keysOf(k Kind) (keys []string, example string) {
	switch k {
	case Adjusted:
		return []string{"flats", "step", "at"}, `{"flats":1}`
	case Repacked:
		return []string{"packing", "rings", "at"}, `{"packing":"graphite 10 mm","rings":5}`
	case SleeveChanged, ShaftChanged, SensorCleaned:
		return []string{"at"}, `none, or {"at":"2026-05-04T10:30:00Z"}`
	case Counted:
		return []string{"drops", "minutes", "at"}, `{"drops":30,"minutes":1}`
	case FlushChanged:
		return []string{"bar", "at"}, `{"bar":1.5}`
	case Corrected:
		return []string{"seq", "value", "void"}, `{"seq":12,"value":{...}} or {"seq":12,"void":true}`
	case Noticed:
		return []string{"before_dpm", "after_dpm", "at"}, `{"before_dpm":60,"after_dpm":30}`
	}
	return nil, ""
}

// ParseKind reads a kind that people may record.
func ParseKind(s string) (Kind, error) {
	if slices.Contains(Kinds(), Kind(s)) {
		return Kind(s), nil
	}
	var words []string
	for _, k := range Kinds() {
		words = append(words, string(k))
	}
	return "", fmt.Errorf("no kind %q; want %s", s, strings.Join(words, ", "))
}

// ParseValue reads the value of an entry of a kind. The error says in one line
// what is wrong and what is wanted.
func ParseValue(k Kind, data []byte) (Value, error) {
	keys, example := keysOf(k)
	if len(data) == 0 || string(data) == "null" {
		data = []byte("{}")
	}
	var given map[string]json.RawMessage
	if err := json.Unmarshal(data, &given); err != nil {
		return Value{}, fmt.Errorf("value of %s is not understood; want %s", k, example)
	}
	for key := range given {
		if !slices.Contains(keys, key) {
			return Value{}, fmt.Errorf("value of %s has no %q; want %s", k, key, example)
		}
	}
	var r raw
	if err := json.Unmarshal(data, &r); err != nil {
		return Value{}, fmt.Errorf("value of %s: %s; want %s", k, cause(err), example)
	}
	v, err := r.value(k)
	if err != nil {
		return Value{}, fmt.Errorf("value of %s: %w; want %s", k, err, example)
	}
	return v, nil
}

func cause(err error) string {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) && wrong.Field != "" {
		return fmt.Sprintf("%s is a %s", wrong.Field, wrong.Value)
	}
	if text := err.Error(); strings.Contains(text, "parsing time") {
		return "at is no RFC 3339 time with a zone"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

func (r raw) value(k Kind) (Value, error) {
	v := Value{WorkAt: r.At}
	var err error
	switch k {
	case Adjusted:
		err = r.adjusted(&v)
	case Repacked:
		err = r.repacked(&v)
	case Counted:
		err = r.counted(&v)
	case FlushChanged:
		if r.Bar != nil && !(*r.Bar >= minBar && *r.Bar <= maxBar) {
			return v, fmt.Errorf("bar is %g, not from %d to %d", *r.Bar, minBar, maxBar)
		}
		v.FlushBar = r.Bar
	case Corrected:
		err = r.corrected(&v)
	case Noticed:
		if r.Before != nil && r.After != nil {
			v.Before, v.After = *r.Before, *r.After
		}
	case SleeveChanged, ShaftChanged, SensorCleaned:
	}
	return v, err
}

func (r raw) adjusted(v *Value) error {
	if r.Flats == nil {
		return errors.New("flats is missing: how far the nuts were turned, a sixth of a turn each for hexagons, below 0 if slackened")
	}
	if f := *r.Flats; f == 0 || !(f >= -maxFlats && f <= maxFlats) {
		return fmt.Errorf("flats is %g, not up to %d either way and not 0", f, maxFlats)
	}
	v.Flats = *r.Flats
	if r.Step != nil {
		v.Step = *r.Step
	}
	return nil
}

func (r raw) repacked(v *Value) error {
	if r.Packing != nil {
		v.Packing = strings.TrimSpace(*r.Packing)
	}
	if n := utf8.RuneCountInString(v.Packing); n > maxPacking || strings.ContainsFunc(v.Packing, unicode.IsControl) {
		return fmt.Errorf("packing has %d characters or line breaks, not one line of up to %d", n, maxPacking)
	}
	if r.Rings != nil {
		if *r.Rings < 1 || *r.Rings > maxRings {
			return fmt.Errorf("rings is %d, not from 1 to %d", *r.Rings, maxRings)
		}
		v.Rings = *r.Rings
	}
	return nil
}

func (r raw) counted(v *Value) error {
	if r.Drops == nil || r.Minutes == nil {
		return errors.New("drops or minutes is missing")
	}
	if *r.Drops < 0 || *r.Drops > maxDrops {
		return fmt.Errorf("drops is %d, not from 0 to %d", *r.Drops, maxDrops)
	}
	if m := *r.Minutes; !(m > 0 && m <= maxMinutes) {
		return fmt.Errorf("minutes is %g, not above 0 and at most %d", m, maxMinutes)
	}
	v.Drops, v.Minutes = *r.Drops, *r.Minutes
	return nil
}

// corrected leaves the new value to ParseCorrection: its kind is that of the
// entry it belongs to.
func (r raw) corrected(v *Value) error {
	void := r.Void != nil && *r.Void
	switch {
	case r.Seq == nil || *r.Seq == 0:
		return errors.New("seq is missing: the seq of the entry to correct")
	case void == (len(r.Value) > 0):
		return errors.New("it has both or neither of value and void")
	}
	v.Of, v.Void = *r.Seq, void
	return nil
}

// ParseCorrection reads the value of a correction of an entry of a kind.
func ParseCorrection(k Kind, data []byte) (Value, error) {
	v, err := ParseValue(Corrected, data)
	if err != nil || v.Void {
		return v, err
	}
	var r raw
	if err := json.Unmarshal(data, &r); err != nil {
		return v, fmt.Errorf("value of %s: %s", Corrected, cause(err))
	}
	right, err := ParseValue(k, r.Value)
	v.New = &right
	return v, err
}
