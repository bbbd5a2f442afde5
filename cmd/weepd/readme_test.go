package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write the output that the README shows anew")

const (
	readme = "../../README.md"
	howTo  = "## Tune a gland in ten minutes\n"
)

// TestReadmeHowTo runs the commands of the README's how-to, in their order and in
// one folder, and holds what they print to what the README shows. A block of YAML
// whose first line is `# NAME` is a file of that name. In the other blocks a line
// `$ weepd ...` is a command; it may end with > FILE, or with | head -N, tail -N or
// grep TEXT. What stands below it is what it prints, on both streams.
func TestReadmeHowTo(t *testing.T) {
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	before, section, found := strings.Cut(string(text), howTo)
	if !found {
		t.Fatalf("%s has no %q", readme, strings.TrimSpace(howTo))
	}
	section, after, _ := strings.Cut(section, "\n## ")
	path, err := filepath.Abs(readme)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	ran := runBlocks(t, section)
	if *rewrite {
		if err := os.WriteFile(path, []byte(before+howTo+ran+"\n## "+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if ran != section {
		t.Errorf("the README shows other output than this (-run Readme -rewrite takes it over):\n%s", ran)
	}
}

// runBlocks gives the text with what its commands print now.
func runBlocks(t *testing.T, text string) string {
	t.Helper()
	var out strings.Builder
	commands := 0
	for i, part := range strings.Split(text, "```") {
		if i > 0 {
			out.WriteString("```")
		}
		kind, body, _ := strings.Cut(part, "\n")
		switch {
		case i%2 == 0:
			out.WriteString(part)
		case kind == "yaml":
			name, _, _ := strings.Cut(strings.TrimPrefix(body, "# "), "\n")
			if err := os.WriteFile(name, []byte(body), 0o600); err != nil {
				t.Fatal(err)
			}
			out.WriteString(part)
		default:
			out.WriteString(kind + "\n")
			for line := range strings.Lines(body) {
				if command, is := strings.CutPrefix(line, "$ weepd "); is {
					commands++
					out.WriteString(line + printed(t, strings.TrimSpace(command)))
				}
			}
		}
	}
	if commands == 0 {
		t.Fatal("no command was found")
	}
	return out.String()
}

// printed runs a command and gives what a person sees.
func printed(t *testing.T, command string) string {
	t.Helper()
	command, file, toFile := strings.Cut(command, " > ")
	command, filter, filtered := strings.Cut(command, " | ")
	var out, errs bytes.Buffer
	code := execute(t.Context(), strings.Fields(command), strings.NewReader(""), &out, &errs)
	if code != exitDone {
		t.Fatalf("weepd %s: exit code %d, %s", command, code, errs.String())
	}
	text := out.String()
	if toFile {
		if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		text = ""
	}
	if filtered {
		text = filteredBy(t, text, filter)
	}
	return text + errs.String()
}

func filteredBy(t *testing.T, text, filter string) string {
	t.Helper()
	tool, arg, _ := strings.Cut(filter, " ")
	lines := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	n, err := strconv.Atoi(strings.TrimPrefix(arg, "-"))
	switch {
	case tool == "head" && err == nil:
		lines = lines[:min(n, len(lines))]
	case tool == "tail" && err == nil:
		lines = lines[max(0, len(lines)-n):]
	case tool == "grep":
		var kept []string
		for _, line := range lines {
			if strings.Contains(line, strings.Trim(arg, "'")) {
				kept = append(kept, line)
			}
		}
		lines = kept
	default:
		t.Fatal(fmt.Errorf("| %s: want head -N, tail -N or grep TEXT", filter))
	}
	if joined := strings.Join(lines, ""); strings.HasSuffix(joined, "\n") || joined == "" {
		return joined
	}
	return strings.Join(lines, "") + "\n"
}
