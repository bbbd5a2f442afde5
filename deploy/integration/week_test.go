//go:build integration

package integration

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// chromium runs a real browser without a screen and gives its output.
func chromium(t *testing.T, args ...string) []byte {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	cmd := exec.CommandContext(ctx, "chromium", append([]string{
		"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--user-data-dir=" + t.TempDir(),
	}, args...)...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("chromium: %v\n%s", err, errs.String())
	}
	return out.Bytes()
}

// TestWeekPrintsOnA4 prints the week's report with a real browser: on A4 (ISO
// 216: 210 x 297 mm, in points of 1/72 in), on few pages, and no wider than the
// paper lets it.
func TestWeekPrintsOnA4(t *testing.T) {
	page, err := filepath.Abs("../../agent/weekly/testdata/week.html")
	if err != nil {
		t.Fatal(err)
	}
	paper := filepath.Join(t.TempDir(), "week.pdf")
	chromium(t, "--print-to-pdf="+paper, "file://"+page)
	pdf, err := os.ReadFile(paper)
	if err != nil {
		t.Fatal(err)
	}
	boxes := regexp.MustCompile(`/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]`).FindAllSubmatch(pdf, -1)
	if len(boxes) == 0 || len(boxes) > 3 {
		t.Errorf("%d pages, want 1 to 3", len(boxes))
	}
	for _, box := range boxes {
		width, _ := strconv.ParseFloat(string(box[1]), 64)
		height, _ := strconv.ParseFloat(string(box[2]), 64)
		if width < 594 || width > 596.5 || height < 841 || height > 843 {
			t.Errorf("a page of %g x %g points, want A4's 595.3 x 841.9", width, height)
		}
	}
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	measured := filepath.Join(t.TempDir(), "week.html")
	measure := "<script>document.documentElement.dataset.width = document.documentElement.scrollWidth + ' of ' + document.documentElement.clientWidth</script></html>"
	if err := os.WriteFile(measured, []byte(strings.Replace(string(text), "</html>", measure, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	// 184 mm between the margins at 96 pixels an inch.
	dom := chromium(t, "--window-size=696,1000", "--dump-dom", "file://"+measured)
	width := regexp.MustCompile(`data-width="([0-9]+) of ([0-9]+)"`).FindSubmatch(dom)
	if width == nil || !bytes.Equal(width[1], width[2]) {
		t.Errorf("the page is wider than its paper: %q", width)
	}
}
