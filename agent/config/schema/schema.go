// Package schema holds the JSON Schema of the configuration, for completion and
// checks in an editor, and the types that it is made from. The decoder of
// agent/config has the last word: a schema cannot say all that it checks.
//
// A new key of the configuration needs a field in one of the types of this
// package, with a comment that becomes its description, and then
//
//	go test ./agent/config -run Schema -rewrite
package schema

import _ "embed"

//go:embed weepd.schema.json
var text []byte

// JSON gives the schema (JSON Schema, draft 2020-12).
func JSON() []byte { return text }
