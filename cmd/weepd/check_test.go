package main

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestCheckPrintsTheSchema(t *testing.T) {
	got := weepd(t, "", "check", "--schema")
	var schema struct {
		Schema     string `json:"$schema"`
		Properties map[string]any
	}
	if err := json.Unmarshal([]byte(got.out), &schema); err != nil || got.code != exitDone || got.err != "" {
		t.Fatalf("%v: %+v", err, got)
	}
	if !strings.Contains(schema.Schema, "2020-12") || schema.Properties["glands"] == nil {
		t.Errorf("%+v", schema)
	}
	if got := weepd(t, "", "check", "--schema", "x.yaml"); got.code != exitUsage {
		t.Errorf("%+v", got)
	}
}

// A warning says where and what to do, and is no fault.
func TestCheckWarns(t *testing.T) {
	path := file(t, "hasty.yaml", `station: quarry
modbus:
  - {id: plc, url: "tcp://10.0.0.5"}
glands:
  - {id: p1-de, limits: {dry_dpm: 45, leak_dpm: 90}}
`)
	got := weepd(t, "", "check", path)
	want := path + ":3:6: warning: modbus connection plc is used by no point; remove it, or give a point `connection: plc`\n" +
		path + ":5:26: warning: limits.dry_dpm 45 of gland p1-de is above the 30 drops/min that synthetic fibre is commonly kept at " +
		"(common practice, no source); lower it, unless the pump or packing maker asks for as much\n"
	if got.code != exitDone || got.err != want || !strings.Contains(got.out, "no faults") {
		t.Errorf("%+v\nwant %s", got, want)
	}
}
