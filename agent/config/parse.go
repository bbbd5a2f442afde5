package config

import (
	"log/slog"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

const idWant = "1 to 32 of A-Z a-z 0-9 _ -"

// Parse reads a configuration; name stands for the file in faults. The
// configuration is nil if there is any fault.
func Parse(name string, data []byte) (*Config, Faults) {
	return parse(newDecoder(name), data)
}

func newDecoder(name string) *decoder {
	return &decoder{file: name, starts: "`station: NAME` and `glands:`, see the README", lines: map[string]int{}, wiring: newWiring()}
}

func parse(d *decoder, data []byte) (*Config, Faults) {
	name := d.file
	text, fault := checkText(name, data)
	if fault != nil {
		return nil, Faults{*fault}
	}
	tree, fault := parseTree(name, text)
	if fault != nil {
		return nil, Faults{*fault}
	}
	cfg := &Config{lines: d.lines}
	if root, ok := d.root(tree); ok {
		d.config(cfg, root)
	}
	if len(d.faults) > 0 {
		return nil, d.faults.tidy()
	}
	cfg.Warnings = d.unwise(cfg)
	return cfg, nil
}

// root finds the one document of the file.
func (d *decoder) root(tree *ast.File) (entry, bool) {
	var body ast.Node
	var documents int
	for _, doc := range tree.Docs {
		switch node := doc.Body.(type) {
		case nil, *ast.CommentGroupNode:
		case *ast.DirectiveNode:
			d.fault(placeOf(node), "remove the line", "YAML directive (%%) is not supported")
		default:
			if documents++; documents == 1 {
				body = node
				continue
			}
			d.fault(placeOf(node), "keep one station a file, without a second ---", "a second YAML document")
		}
	}
	if body == nil {
		if len(d.faults) == 0 {
			d.fault(place{1, 1}, "start with "+d.starts, "the file is empty")
		}
		return entry{}, false
	}
	node, ok := d.bare(body)
	if !ok || node == nil || node.Type() == ast.NullType {
		if len(d.faults) == 0 {
			d.fault(place{1, 1}, "start with "+d.starts, "the file is empty")
		}
		return entry{}, false
	}
	e := entry{value: node, at: placeOf(node)}
	switch node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return e, true
	}
	d.fault(e.at, "start with "+d.starts, "the file is %s", describe(node))
	return entry{}, false
}

func (d *decoder) config(cfg *Config, root entry) {
	var level string

	cfg.HTTP.Listen = DefaultListen
	cfg.Log.Format = "text"
	cfg.Alarms = Alarms{LongestShelf: defaultLongestShelf, Settle: defaultSettle}
	cfg.Store.MaxBytes = defaultStoreBytes
	seen := d.mapping(root, append([]field{
		{"station", d.text(&cfg.Station, reading.MaxGlandID, idWant+", as it becomes part of MQTT topics", reading.ValidGlandID)},
		{"glands", func(e entry) { cfg.Glands = d.glands(e) }},
		{"modbus", func(e entry) { cfg.Modbus = d.modbus(e) }},
		{"mqtt", func(e entry) { cfg.MQTT = d.mqtt(e) }},
		{"remote_write", func(e entry) { cfg.RemoteWrite = d.remoteWrite(e) }},
		{"alarms", func(e entry) { d.alarms(&cfg.Alarms, e) }},
		{"store", func(e entry) { d.store(&cfg.Store, e) }},
		{"http", func(e entry) { d.http(&cfg.HTTP, e) }},
		{"log", func(e entry) {
			d.mapping(e,
				field{"level", d.choice(&level, "debug", "info", "warn", "error")},
				field{"format", d.choice(&cfg.Log.Format, "text", "json")})
		}},
	}, d.stationFields(cfg)...)...)
	if level != "" {
		// The words are slog's own.
		_ = (&cfg.Log.Level).UnmarshalText([]byte(level))
	} else {
		cfg.Log.Level = slog.LevelInfo
	}
	d.wired(cfg.Glands, cfg.Modbus)
	d.required(root, seen, "station", "add `station: NAME`")
	d.required(root, seen, "glands", "add `glands:` with a list of glands, each `- id: NAME`")
	cfg.HTTP.complete()
	if cfg.MQTT != nil {
		cfg.MQTT.complete(cfg.Station)
	}
}
