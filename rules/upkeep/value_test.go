package upkeep

import (
	"strings"
	"testing"
	"time"
)

func TestValuesAreReadOrRefusedWithAReason(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		text string
		says string // empty: it is good
	}{
		{Adjusted, `{"flats":1}`, ""},
		{Adjusted, `{"flats":-0.5,"step":12,"at":"2026-05-04T10:30:00+02:00"}`, ""},
		{Adjusted, ``, "flats is missing"},
		{Adjusted, `{"flats":0}`, "flats is 0"},
		{Adjusted, `{"flats":73}`, "flats is 73, not up to 72"},
		{Adjusted, `{"flats":"one"}`, "flats is a string"},
		{Adjusted, `{"Flats":1}`, `no "Flats"`},
		{Adjusted, `{"flats":1,"turns":1}`, `no "turns"`},
		{Adjusted, `[1]`, "not understood"},
		{Adjusted, `{"flats":1,"at":"yesterday"}`, "no RFC 3339 time"},
		{Repacked, ``, ""},
		{Repacked, `{"packing":"graphite","rings":5}`, ""},
		{Repacked, `{"rings":0}`, "rings is 0, not from 1 to 30"},
		{Repacked, `{"packing":"a\nb"}`, "line breaks"},
		{Repacked, `{"packing":"` + strings.Repeat("x", 81) + `"}`, "81 characters"},
		{SleeveChanged, `null`, ""},
		{ShaftChanged, `{"mm":50}`, `no "mm"`},
		{SensorCleaned, `{}`, ""},
		{Counted, `{"drops":0,"minutes":2}`, ""},
		{Counted, `{"drops":30}`, "drops or minutes is missing"},
		{Counted, `{"drops":-1,"minutes":1}`, "drops is -1"},
		{Counted, `{"drops":1.5,"minutes":1}`, "drops is a number 1.5"},
		{Counted, `{"drops":1,"minutes":0}`, "minutes is 0"},
		{FlushChanged, ``, ""},
		{FlushChanged, `{"bar":0}`, ""},
		{FlushChanged, `{"bar":401}`, "bar is 401"},
		{Corrected, `{"seq":3,"void":true}`, ""},
		{Corrected, `{"seq":3,"value":{"flats":2}}`, ""},
		{Corrected, `{"void":true}`, "seq is missing"},
		{Corrected, `{"seq":3}`, "both or neither"},
		{Corrected, `{"seq":3,"void":true,"value":{"flats":2}}`, "both or neither"},
	} {
		_, err := ParseValue(c.kind, []byte(c.text))
		if (err == nil) != (c.says == "") || err != nil && (!strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%s %s: %v, want %q", c.kind, c.text, err, c.says)
		}
	}
	if _, err := ParseKind("noticed"); err == nil || !strings.Contains(err.Error(), "adjusted, repacked") {
		t.Errorf("people record what only weepd writes: %v", err)
	}
	v, err := ParseCorrection(Counted, []byte(`{"seq":3,"value":{"drops":9,"minutes":1}}`))
	if err != nil || v.Of != 3 || v.New == nil || v.New.Drops != 9 {
		t.Errorf("%+v, %v", v, err)
	}
	if _, err := ParseCorrection(Counted, []byte(`{"seq":3,"value":{"flats":1}}`)); err == nil {
		t.Error("a hand count was corrected into an adjustment")
	}
}

func FuzzValue(f *testing.F) {
	f.Add("adjusted", []byte(`{"flats":1,"at":"2026-05-04T10:30:00Z"}`))
	f.Add("corrected", []byte(`{"seq":3,"value":{"drops":9}}`))
	f.Add("counted", []byte(`{"drops":1e99,"minutes":"x"}`))
	f.Fuzz(func(t *testing.T, kind string, data []byte) {
		k, err := ParseKind(kind)
		if err != nil {
			return
		}
		v, err := ParseValue(k, data)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("error of several lines: %q", err)
			}
			return
		}
		life := NewLife(Config{NormalDPM: 30, DryDPM: 15, LeakDPM: 60})
		life.Record(Entry{Seq: 1, At: time.Hour, Kind: k, Value: v})
		if s := life.Assess(2 * time.Hour); len(s.Entries) > 1 {
			t.Errorf("%+v", s)
		}
	})
}
