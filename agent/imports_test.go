package agent

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The directions of the house: cmd -> agent -> {sensors, rules}, sensors ->
// rules/reading, no siblings below agent and sensors, and a core that does no
// I/O, starts no goroutine and reads no clock. See DEVELOPERS.md.

func TestImportDirections(t *testing.T) {
	checked := 0
	err := filepath.WalkDir("..", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || d.Name() == "dist" || strings.HasPrefix(d.Name(), ".") && name != ".."):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go"):
			return nil
		}
		source, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel("..", name)
		if err != nil {
			return err
		}
		checked++
		for _, fault := range houseFaults(filepath.ToSlash(rel), source) {
			t.Error(fault)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if checked < 20 {
		t.Fatalf("only %d files were checked", checked)
	}
}

// The test above can fail.
func TestImportDirectionsAreEnforced(t *testing.T) {
	for _, c := range []struct{ file, source, want string }{
		{"rules/x.go", `package rules; import "os"`, "os"},
		{"rules/weep/x.go", `package weep; import "net/http"`, "net/http"},
		{"rules/weep/x.go", `package weep; import "log/slog"`, "log/slog"},
		{"rules/weep/x.go", `package weep; import "math/rand/v2"`, "math/rand/v2"},
		{"rules/weep/x.go", `package weep; import "weepd/sensors"`, "weepd/sensors"},
		{"rules/weep/x.go", `package weep; import "example.org/x"`, "example.org/x"},
		{"rules/x.go", `package rules; import "time"; var t = time.Now()`, "time.Now"},
		{"rules/x.go", `package rules; import clock "time"; var f = clock.Since`, "time.Since"},
		{"rules/x.go", `package rules; func f() { go f() }`, "goroutine"},
		{"rules/x.go", `package rules; import "fmt"; func f() { fmt.Println() }`, "fmt.Println"},
		{"sensors/gpio/x.go", `package gpio; import "weepd/sensors/file"`, "weepd/sensors/file"},
		{"sensors/gpio/x.go", `package gpio; import "weepd/sensors/sensortest"`, "weepd/sensors/sensortest"},
		{"sensors/gpio/x.go", `package gpio; import "weepd/rules"`, "weepd/rules"},
		{"sensors/x.go", `package sensors; import "weepd/sensors/file"`, "weepd/sensors/file"},
		{"agent/mqtt/x.go", `package mqtt; import "weepd/agent/page"`, "weepd/agent/page"},
		{"agent/x.go", `package agent; import "weepd/agent/page"`, "weepd/agent/page"},
		{"agent/x.go", `package agent; import "weepd/cmd/weepd"`, "weepd/cmd/weepd"},
		{"cmd/weepd/x.go", `package main; import "weepd/sensors/file"`, "weepd/sensors/file"},
	} {
		faults := houseFaults(c.file, []byte(c.source))
		if len(faults) != 1 || !strings.Contains(faults[0], c.want) {
			t.Errorf("%s with %q: faults %q, want one about %s", c.file, c.source, faults, c.want)
		}
	}
	for file, source := range map[string]string{
		"rules/x.go":        `package rules; import ("time"; "weepd/rules/weep"); var d = time.Second`,
		"sensors/gpio/x.go": `package gpio; import ("weepd/sensors"; "weepd/rules/reading"; "os")`,
		"agent/x.go":        `package agent; import ("weepd/agent/config"; "weepd/sensors/file"; "weepd/rules")`,
		"agent/mqtt/x.go":   `package mqtt; import ("weepd/agent"; "weepd/rules")`,
		"cmd/weepd/x.go":    `package main; import ("weepd/agent/mqtt"; "weepd/rules")`,
	} {
		if faults := houseFaults(file, []byte(source)); len(faults) > 0 {
			t.Errorf("%s: %q", file, faults)
		}
	}
}

// houseFaults says what a file does against the house; name is relative to
// the module's root.
func houseFaults(name string, source []byte) (faults []string) {
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, name, source, parser.SkipObjectResolution)
	if err != nil {
		return []string{err.Error()}
	}
	for _, spec := range file.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil || !mayImport(path.Dir(name), imported) {
			faults = append(faults, fmt.Sprintf("%s: %s must not import %s", files.Position(spec.Pos()), path.Dir(name), imported))
		}
	}
	if within(path.Dir(name), "rules") {
		faults = append(faults, impurities(files, file)...)
	}
	return faults
}

func within(dir, top string) bool { return dir == top || strings.HasPrefix(dir, top+"/") }

// directions say which of our packages a folder may import besides its own
// subfolders; the first that fits counts. A trailing /... means all below.
var directions = []struct{ folder, may string }{
	{"rules/...", "rules/..."},
	{"sensors", "rules/reading"},
	{"sensors/...", "sensors rules/reading"},
	{"agent", "agent/config sensors/... rules/..."},
	{"agent/...", "agent sensors/... rules/..."},
	{"cmd/...", "agent/... rules/..."},
	{"deploy/...", "deploy/rig agent/... sensors/... rules/..."},
}

func mayImport(dir, imported string) bool {
	own, ours := strings.CutPrefix(imported, "weepd/")
	if !ours {
		return !within(dir, "rules") || pure(imported)
	}
	for _, d := range directions {
		if fits(dir, d.folder) {
			return strings.HasPrefix(own, dir+"/") && strings.Contains(dir, "/") ||
				slices.ContainsFunc(strings.Fields(d.may), func(may string) bool { return fits(own, may) })
		}
	}
	return false
}

func fits(dir, pattern string) bool {
	top, all := strings.CutSuffix(pattern, "/...")
	return dir == top || all && within(dir, top)
}

// pure reports whether a package of the standard library does no I/O, keeps no
// time and throws no dice, or a numerical library that neither does. Others
// are not for the core.
func pure(imported string) bool {
	return slices.Contains([]string{
		"bytes", "cmp", "container/heap", "container/list", "container/ring", "encoding", "encoding/json", "errors", "fmt",
		"iter", "maps", "math", "math/big", "math/bits", "math/cmplx", "slices", "sort", "strconv", "strings",
		"time", "unicode", "unicode/utf8", "gonum.org/v1/gonum/mathext",
	}, imported)
}

// impurities finds goroutines, clocks and printing in a file of the core.
func impurities(files *token.FileSet, file *ast.File) (faults []string) {
	forbidden := map[string][]string{
		"time": {"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "LoadLocation", "Local"},
		"fmt":  {"Print", "Printf", "Println", "Scan", "Scanf", "Scanln"},
	}
	names := make(map[string]string) // local name -> package
	for _, spec := range file.Imports {
		imported, _ := strconv.Unquote(spec.Path.Value)
		local := path.Base(imported)
		if spec.Name != nil {
			local = spec.Name.Name
		}
		names[local] = imported
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			faults = append(faults, fmt.Sprintf("%s: the core must not start a goroutine", files.Position(n.Pos())))
		case *ast.SelectorExpr:
			x, ok := n.X.(*ast.Ident)
			if ok && slices.Contains(forbidden[names[x.Name]], n.Sel.Name) {
				faults = append(faults, fmt.Sprintf("%s: the core must not use %s.%s", files.Position(n.Pos()), names[x.Name], n.Sel.Name))
			}
		}
		return true
	})
	return faults
}
